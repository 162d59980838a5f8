// Rules on the species written down at each stop.
import { breach, inDays } from "./case.js";
import { distance } from "./params.js";

export function indexMissing(record) {
  return calls(record)
    .filter(
      ([period, call]) =>
        (period.status ?? "listened") === "listened" && call.index == null && !call.not_sure,
    )
    .map(([period, call]) =>
      breach(where(period, call), { species: { species: call.species }, stop: period.stop }),
    );
}

export function distanceMissing(record) {
  const radius = record.protocol.listening_radius_m;
  if (radius == null) return [];
  return calls(record)
    .filter(
      ([period, call]) =>
        (period.status ?? "listened") === "listened" && [1, 2, 3].includes(call.index) && !call.distance,
    )
    .map(([period, call]) =>
      breach(where(period, call), {
        species: { species: call.species },
        stop: period.stop,
        radius: distance(radius),
      }),
    );
}

export function speciesOutOfSeason(record) {
  const { night } = record.visit;
  return calls(record).flatMap(([period, call]) => {
    const season = listedAs(record, call)?.season ?? null;
    if (!season || call.not_sure || !(call.index > 0) || inDays(night, ...season)) return [];
    return [
      breach(where(period, call), {
        species: { species: call.species },
        stop: period.stop,
        night: { date: night },
        season: { season },
      }),
    ];
  });
}

const calls = ({ visit }) =>
  visit.periods.flatMap((period) => (period.calls ?? []).map((call) => [period, call]));
const where = (period, call) => ({ stop: period.stop, field: "index", species: call.species });
// The last entry of a code wins, as in the server's mapping.
const listedAs = ({ route }, call) => (route.checklist ?? []).findLast(({ code }) => code === call.species);
