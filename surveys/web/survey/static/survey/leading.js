// From a finding to the field that mends it, on whatever screen that stands.
import { model, stopText } from "./model.js";
import { cellOf } from "./sheet/cells.js";
import { EDITABLE } from "./store.js";

const SIDES = { start: "route", end: "summary" };
const OF_VISIT = { rain_48h: "route", second_observer: "summary" };
// What no screen of the phone changes.
const NOWHERE = ["night", "temperature_unit", "rain_unit", "second_member"];

/** A function that leads from a finding to its field; null where nothing can be corrected on the phone. */
export function leadFrom(app, finding) {
  const place = EDITABLE.includes(model.visit.state) && placeOf(finding);
  if (!place) return null;
  const [screen, number, aim] = place;
  return () => {
    app.aim = aim;
    app.go(screen, model.visit.id, ...(number ? [number] : []));
  };
}

/** Screen, stop and what to open there. */
function placeOf({ stop, field, species, params }) {
  const number = stop ?? params?.stops?.stops?.[0];
  if (number != null) return isOnRoute(number) && ["stop", number, { field, species }];
  const address = cellOf({ stop: null, field, species: null }) || field || "";
  const [side, name] = address.split(".");
  if (side === "own") return ["summary", null, { field }];
  if (SIDES[side]) return [SIDES[side], null, { field: address }];
  if (OF_VISIT[side]) return [OF_VISIT[side], null, { field: address }];
  // Read at no stop at all.
  return !name && side && atFirstStop(side);
}

const isOnRoute = (wanted) => model.stops.some(({ number }) => number === wanted);

function atFirstStop(field) {
  const first = model.stops.find(({ number }) => stopText(number)("started_at"));
  return first && !NOWHERE.includes(field) && ["stop", first.number, { field }];
}

/** Open what a cell is filled in by, on a screen that has a tile for it. */
export function openTile(node, address) {
  const tile = node.querySelector(`[data-cell="${address}"]`);
  tile?.scrollIntoView({ block: "center" });
  tile?.click();
  return Boolean(tile);
}
