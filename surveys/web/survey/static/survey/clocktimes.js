// Clock times as they were typed, read the way the server reads them: a night runs from noon to
// noon, and where the clocks go back a time can come twice.
const SEPARATED = /^(\d{1,2})\s*[:.h]\s*(\d{2})(?:[:.](\d{2}))?$/;
const DIGITS = /^(\d{1,2})(\d{2})$/;
const HOUR = /^(\d{1,2})$/;
const HALF = /\s*([ap])\.?\s*m\.?$/;
const NAMED = { noon: [12, 0, 0], midnight: [0, 0, 0] };
const INSTANT = /^\d{4}-\d{2}-\d{2}[t ]/i;
const DAY_MS = 86_400_000;
const formats = new Map();

/** Hour, minute, second of `21:14`, `2114`, `9:14 pm`, `noon`; when it is no clock time, the variant of
    the sentence that says why. */
export function parseClock(text) {
  const typed = text.trim().toLowerCase();
  if (NAMED[typed]) return NAMED[typed];
  const half = HALF.exec(typed);
  const digits = half ? typed.slice(0, half.index) : typed;
  const match = SEPARATED.exec(digits) ?? DIGITS.exec(digits) ?? (half && HOUR.exec(digits));
  if (!match) return "clock";
  let [hour, minute, second] = [1, 2, 3].map((i) => Number(match[i] ?? 0));
  if (half) {
    if (hour < 1 || hour > 12) return "clock-half";
    hour = (hour % 12) + (half[1] === "p" ? 12 : 0);
  }
  if (hour === 24 && minute === 0 && second === 0) hour = 0;
  if (hour > 23) return "clock-hour";
  return minute > 59 || second > 59 ? "clock-minute" : [hour, minute, second];
}

/** What a clock of the zone shows, as if it were UTC, in milliseconds without parts of a second. */
function shownAt(instant, zone) {
  if (!formats.has(zone)) {
    const part = "2-digit";
    formats.set(
      zone,
      new Intl.DateTimeFormat("en-GB", {
        timeZone: zone,
        year: "numeric",
        month: part,
        day: part,
        hour: part,
        minute: part,
        second: part,
        hourCycle: "h23",
      }),
    );
  }
  const at = Object.fromEntries(
    formats
      .get(zone)
      .formatToParts(instant)
      .map(({ type, value }) => [type, Number(value)]),
  );
  return Date.UTC(at.year, at.month - 1, at.day, at.hour, at.minute, at.second);
}

/** Hour and minute that a clock of the zone shows. */
export function localTime(instant, zone) {
  const shown = new Date(shownAt(instant, zone));
  return [shown.getUTCHours(), shown.getUTCMinutes()];
}

/** What the clocks are to show, as if it were UTC, and the instants at which those show it that were set
    the day before and the day after. */
function around(read, night, zone) {
  const [year, month, day] = night.split("-").map(Number);
  const shown = Date.UTC(year, month - 1, day + (read[0] < 12 ? 1 : 0), ...read);
  return [shown, [shown - DAY_MS, shown + DAY_MS].map((near) => shown - (shownAt(near, zone) - near))];
}

/** Every instant of the night at which the clocks showed it: none, one, or two. */
export function instantsOf(text, night, zone) {
  const read = parseClock(text);
  if (typeof read === "string") return [];
  const [shown, instants] = around(read, night, zone);
  return [...new Set(instants)].filter((instant) => shownAt(instant, zone) === shown).sort((a, b) => a - b);
}

/** Of a time that the clocks skipped, the instants that it means on a clock not yet put forward, and on
    one put forward too early. */
export const skippedTime = (text, night, zone) => around(parseClock(text), night, zone)[1];

/** The instant of a clock cell and its fold, in milliseconds; null when nobody can tell. */
export function readTime(text, fold, { night, zone }) {
  const typed = text.trim();
  if (INSTANT.test(typed)) {
    const instant = Date.parse(typed);
    return Number.isNaN(instant) ? null : instant;
  }
  const instants = instantsOf(typed, night, zone);
  if (instants.length < 2) return instants[0] ?? null;
  return { first: instants[0], second: instants[1] }[fold.trim().toLowerCase()] ?? null;
}
