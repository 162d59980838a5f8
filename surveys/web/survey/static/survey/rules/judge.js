// What the phone makes of a record, by the rules that need no server.
import { RULES } from "./table.js";
import { readerOf, told } from "./telling.js";

export const CODES = RULES.map(([code]) => code);

/** Findings on a record, in words: those on the visit as a whole first, then stop by stop. `derived` is what
    the server worked out: `hours` leads from stops to `earliest_start` and `latest_end`. */
export function judge(record, derived) {
  const findings = RULES.flatMap(([code, severity, check]) =>
    check(record, derived).map((breach) => ({ code, severity, ...breach })),
  );
  const reader = readerOf(record);
  return findings
    .map((finding) => told(finding, reader))
    .sort((a, b) => (a.stop ?? 0) - (b.stop ?? 0) || (a.stop != null) - (b.stop != null));
}
