// The addresses of the cells of a sheet, as in surveys/visits/sheet/cells.py.
const WEATHER = ["air_temperature", "beaufort", "sky"];
const CLOCKS = ["arrived_at", "started_at", "finished_at"];
const OF_VISIT = new Set([
  "night",
  "temperature_unit",
  "rain_unit",
  "second_member",
  "second_observer",
  "notes",
  "rain_48h",
]);
const OF_STOP = new Set([
  "status",
  "skip_reason",
  ...CLOCKS,
  ...CLOCKS.map((name) => `${name}.fold`),
  "paused_minutes",
  "air_temperature",
  "water_temperature",
  "beaufort",
  "sky",
  "noise",
  "interrupted",
  "water_tonight",
  "note",
  "latitude",
  "longitude",
  "accuracy_m",
]);
const OF_SIGHTING = new Set(["stop", "species", "life_stage", "count", "color_form", "note"]);
const OWN = /^own\.[a-z][a-z0-9_]{0,39}$/;
const CALL = /^calls\.[-a-zA-Z0-9_]{1,80}$/;
const NUMBERED = /^(stops|sightings)\.([1-9][0-9]{0,3})\.(.+)$/s;

/** The part of the sheet, the number of the stop or row in it, and the name of the cell; null for an
    address that does not exist. */
function placeOf(address) {
  if (OF_VISIT.has(address) || OWN.test(address)) return ["visit", null, address];
  const [end, name] = address.split(/\.(.*)/s);
  if (["start", "end"].includes(end) && WEATHER.includes(name)) return [end, null, name];
  const [, part, digits, inner] = NUMBERED.exec(address) ?? [];
  if (part === "sightings") return OF_SIGHTING.has(inner) ? [part, Number(digits), inner] : null;
  const known = part && (OF_STOP.has(inner) || CALL.test(inner) || OWN.test(inner));
  return known ? [part, Number(digits), inner] : null;
}

/** The cells that are not blank, by part of the sheet: name to text, of stops by number. */
export function splitCells(cells) {
  const parts = { visit: new Map(), start: new Map(), end: new Map(), stops: new Map(), unknown: [] };
  for (const [address, text] of cells) {
    if (!text.trim()) continue;
    const place = placeOf(address);
    if (!place) parts.unknown.push(address);
    else if (place[0] === "stops") {
      const [, number, name] = place;
      if (!parts.stops.has(number)) parts.stops.set(number, new Map());
      parts.stops.get(number).set(name, text);
    } else parts[place[0]]?.set(place[2], text);
  }
  return parts;
}

const CALLED_AT_STOP = { paused: "paused_minutes", measured_at: "latitude", stop: "status" };
const CALLED = new Map([
  ...["start", "end"].flatMap((end) => WEATHER.map((name) => [`${end}_${name}`, `${end}.${name}`])),
  ...WEATHER.map((name) => [name, `start.${name}`]),
]);

/** The address of the cell that a finding is about; empty where it is no single cell. */
export function cellOf({ stop, field, species }) {
  if (stop === null) {
    const name = CALLED.get(field) ?? field ?? "";
    return placeOf(name) ? name : "";
  }
  if (species !== null) return `stops.${stop}.calls.${species}`;
  return field ? `stops.${stop}.${CALLED_AT_STOP[field] ?? field}` : "";
}
