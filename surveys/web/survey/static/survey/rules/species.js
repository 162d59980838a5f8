// Rules on the species written down at each stop.
import { breach, inDays } from "./case.js";
import { distance } from "./params.js";

const named = (period, call) => ({ species: { species: call.species }, stop: period.stop });
const isListened = (period) => (period.status ?? "listened") === "listened";

export function indexImpossible(record) {
  return calls(record)
    .filter(([, { index }]) => index != null && ![0, 1, 2, 3].includes(index))
    .map(([period, call]) => breach(where(period, call), { ...named(period, call), index: call.index }));
}

export function speciesTwiceAtStop({ visit }) {
  return visit.periods.flatMap((period) => {
    const codes = (period.calls ?? []).map(({ species }) => species);
    const twice = [...new Set(codes)].filter((code) => codes.indexOf(code) !== codes.lastIndexOf(code));
    return twice.map((species) => breach(where(period, { species }), named(period, { species })));
  });
}

export function callsAtSkippedStop(record) {
  return calls(record)
    .filter(([period, call]) => !isListened(period) && (call.index != null || call.not_sure))
    .map(([period, call]) => breach(where(period, call), named(period, call)));
}

export function distanceNotAsked(record) {
  if (record.protocol.listening_radius_m != null) return [];
  return calls(record)
    .filter(([, call]) => call.distance)
    .map(([period, call]) => breach(where(period, call), named(period, call)));
}

/** A route without a checklist has nothing to be off; a plain 0 says nothing new. */
export function speciesOffChecklist(record) {
  const known = new Set((record.route.checklist ?? []).map(({ code }) => code));
  if (!known.size) return [];
  return calls(record)
    .filter(([, call]) => !known.has(call.species) && call.index !== 0)
    .map(([period, call]) => breach(where(period, call), named(period, call)));
}

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
