// Rules on the stops of a route: which, in which order, how far apart.
import { breach, inTimeOrder, listened, stopsByNumber } from "./case.js";
import { distanceM } from "./distance.js";
import { distance } from "./params.js";

const ascending = (numbers) => [...new Set(numbers)].sort((a, b) => a - b);
const numbersOf = (periods) => periods.map(({ stop }) => stop);

export function unknownStop(record) {
  const known = stopsByNumber(record);
  const numbers = ascending(numbersOf(record.visit.periods)).filter((number) => !known.has(number));
  return numbers.map((stop) =>
    breach(
      { stop },
      { route: record.route.name, stop, ...(known.size && { stops: { stops: ascending(known.keys()) } }) },
      known.size ? "" : "no-stops",
    ),
  );
}

export function stopChanged(record) {
  const stops = stopsByNumber(record);
  const changed = ascending(numbersOf(listened(record)))
    .map((number) => stops.get(number))
    .filter((stop) => ["closed", "replaced"].includes(stop?.use));
  return changed.map(({ number: stop, name, use }) =>
    breach({ stop }, { stop, name }, use === "replaced" ? use : ""),
  );
}

export function twiceTheSameStop({ visit }) {
  const numbers = numbersOf(visit.periods);
  const count = (number) => numbers.filter((other) => other === number).length;
  return ascending(numbers)
    .filter((number) => count(number) > 1)
    .map((stop) => breach({ stop }, { stop, times: { times: count(stop) } }));
}

export function tooFewStops(record) {
  const known = stopsByNumber(record);
  const surveyed = ascending(numbersOf(listened(record))).filter((number) => known.has(number)).length;
  const wanted = record.protocol.min_stops;
  return surveyed < wanted ? [breach({}, { listened: surveyed, wanted })] : [];
}

export function stopLeftBlank(record) {
  const written = new Set(numbersOf(record.visit.periods));
  const blank = ascending(stopsByNumber(record).keys()).filter((number) => !written.has(number));
  return blank.length ? [breach({}, { stops: { stops: blank } })] : [];
}

export function stopsOutOfOrder(record) {
  if (!record.protocol.stops_in_order) return [];
  const order = inTimeOrder(record).map(([, period]) => period.stop);
  const early = order.find((stop, i) => i > 0 && stop < order[i - 1]);
  return early === undefined ? [] : [breach({ stop: early, field: "started_at" }, { order: { and: order } })];
}

export function stopsTooClose(record) {
  const wanted = record.protocol.min_stop_spacing_m ?? null;
  if (wanted === null) return [];
  const stops = stopsByNumber(record);
  const surveyed = ascending(numbersOf(listened(record))).filter((number) => stops.has(number));
  return surveyed.slice(1).flatMap((stop, before) => {
    const apart = surveyed
      .slice(0, before + 1)
      .map((other) => [other, distanceM(stops.get(other).place, stops.get(stop).place)]);
    const [nearest, meters] = apart.reduce((best, one) => (one[1] < best[1] ? one : best));
    if (meters >= wanted) return [];
    return [breach({ stop }, { nearest, stop, distance: distance(meters), wanted: distance(wanted) })];
  });
}

/** The measured place gets the benefit of its stated accuracy. */
export function farFromStop(record) {
  const { max_distance_from_stop_m: most } = record.protocol;
  const places = new Map(record.route.stops.map((stop) => [stop.number, stop.place]));
  return listened(record).flatMap((period) => {
    if (most === null || !period.measured_at || !places.has(period.stop)) return [];
    const meters = distanceM(period.measured_at, places.get(period.stop));
    const accuracy = Math.max(0, period.measured_accuracy_m ?? 0);
    if (meters - accuracy <= most) return [];
    return [
      breach(
        { stop: period.stop, field: "measured_at" },
        {
          distance: distance(meters),
          ...(accuracy ? { accuracy: distance(accuracy) } : {}),
          stop: period.stop,
          most: distance(most),
        },
        accuracy ? "accuracy" : "",
      ),
    ];
  });
}
