// The stops of a visit: those that were taken along when it began, wherever a coordinator has moved,
// closed or numbered them since.
import { gettext } from "./language.js";

/** Whether a stop or an own field is in use on a night. */
export const inUse = (stop, night) => stop.from <= night && (!stop.until || night <= stop.until);

export const stopCells = (cells, number) =>
  [...cells.keys()].filter((address) => address.startsWith(`stops.${number}.`));

/** Number to id of the stops of a night, as the server is told; packets of an earlier release have no ids. */
export function carriedStops(packet, night) {
  const stops = packet.route.stops.filter((stop) => stop.id && inUse(stop, night));
  return Object.fromEntries(stops.map(({ number, id }) => [number, id]));
}

/**
 * The stops of a visit in driving order. `changed`: the stop is no more what it was when the visit
 * began: closed, or moved. A stop with entries that nobody knows is there too, so that they can be
 * seen and cleared.
 */
export function stopsOf(packet, visit, cells) {
  const byId = new Map(packet.route.stops.map((stop) => [stop.id, stop]));
  const stops = new Map();
  for (const stop of packet.route.stops) if (inUse(stop, visit.night)) stops.set(stop.number, stop);
  for (const [number, id] of Object.entries(visit.stops ?? {})) {
    const stop = byId.get(id);
    if (stop) stops.set(Number(number), asCarried(stop, Number(number), visit.night));
  }
  for (const number of numbersIn(cells)) if (!stops.has(number)) stops.set(number, former(packet, number));
  return [...stops.values()].sort((a, b) => a.number - b.number);
}

const asCarried = (stop, number, night) => ({ ...stop, number, changed: !inUse(stop, night) });

function numbersIn(cells) {
  const numbers = [...cells.keys()].map((address) => /^stops\.([1-9]\d{0,3})\./.exec(address)?.[1]);
  return new Set(numbers.filter(Boolean).map(Number));
}

function former(packet, number) {
  const stop = packet.route.stops.findLast((one) => one.number === number);
  return {
    ...(stop ?? { name: gettext("not on this route"), notes: "", place: null }),
    number,
    changed: true,
  };
}
