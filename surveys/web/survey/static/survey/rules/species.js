// Rules on the species written down at each stop.
import { breach, inDays, LEAVE_IT } from "./case.js";
import { day, monthDay } from "./words.js";

export function indexMissing(record) {
  return calls(record)
    .filter(
      ([period, call]) =>
        (period.status ?? "listened") === "listened" && call.index == null && !call.not_sure,
    )
    .map(([period, call]) =>
      breach(
        where(period, call),
        `${nameOf(record, call)} at stop ${period.stop} was opened, but has no call index.`,
        "Choose 0 if it was not heard, 1 to 3 if it was, or “heard, not sure”.",
      ),
    );
}

export function speciesOutOfSeason(record) {
  const { night } = record.visit;
  return calls(record).flatMap(([period, call]) => {
    const season = listedAs(record, call)?.season ?? null;
    if (!season || call.not_sure || !(call.index > 0) || inDays(night, ...season)) return [];
    return [
      breach(
        where(period, call),
        `${nameOf(record, call)} at stop ${period.stop} on the night of ${day(night)} is outside its calling season` +
          ` here, ${monthDay(season[0])} to ${monthDay(season[1])}.`,
        `Check the species and the date. Early and late callers do occur; a recording helps. ${LEAVE_IT}`,
      ),
    ];
  });
}

const calls = ({ visit }) =>
  visit.periods.flatMap((period) => (period.calls ?? []).map((call) => [period, call]));
const where = (period, call) => ({ stop: period.stop, field: "index", species: call.species });
// The last entry of a code wins, as in the server's mapping.
const listedAs = ({ route }, call) => (route.checklist ?? []).findLast(({ code }) => code === call.species);
const nameOf = (record, call) => listedAs(record, call)?.common_name ?? call.species;
