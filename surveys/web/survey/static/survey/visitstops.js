// The stops of a visit: those that were taken along when it began, wherever a coordinator has moved,
// closed or numbered them since.
import { gettext } from "./language.js";
import { splitCells } from "./sheet/cells.js";

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
  const carried = Object.entries(visit.stops ?? {})
    .filter(([, id]) => byId.has(id))
    .map(([number, id]) => asCarried(byId.get(id), Number(number), visit.night));
  const taken = new Set(carried.map(({ id }) => id));
  const isFree = ({ id }) => !id || !taken.has(id);
  const used = packet.route.stops.filter((stop) => isFree(stop) && inUse(stop, visit.night));
  const stops = new Map([...used, ...carried].map((stop) => [stop.number, stop]));
  for (const number of splitCells(cells).stops.keys())
    if (!stops.has(number)) stops.set(number, former(packet.route.stops.filter(isFree), number));
  return [...stops.values()].sort((a, b) => a.number - b.number);
}

/** Those that the rules judge the visit by, as the server knows them: of the stops that were taken along,
    those with entries. */
export function judgedStops(packet, visit, cells) {
  const filled = splitCells(cells).stops;
  const carried = Object.entries(visit.stops ?? {}).filter(([number]) => filled.has(Number(number)));
  const stops = stopsOf(packet, { ...visit, stops: Object.fromEntries(carried) }, cells);
  return stops.filter(({ place }) => place).map((stop) => ({ ...stop, use: useOf(stop, packet, visit) }));
}

/** How a stop stands on the night of the visit. */
function useOf({ id, number, changed }, { route }, { night }) {
  const isOther = (stop) => stop.id !== id && stop.number === number && inUse(stop, night);
  return changed ? (route.stops.some(isOther) ? "replaced" : "closed") : "in_use";
}

const asCarried = (stop, number, night) => ({ ...stop, number, changed: !inUse(stop, night) });

function former(stops, number) {
  const stop = stops.findLast((one) => one.number === number);
  return {
    ...(stop ?? { name: gettext("not on this route"), notes: "", place: null }),
    number,
    changed: true,
  };
}
