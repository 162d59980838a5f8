// From the cells of a sheet and the packet to a case that the rules can judge, and what cannot be read,
// as surveys/visits/sheet/reader.py does. The server reads by itself what the phone has no screen for:
// the night, members, sightings.
import { SKY } from "../rules/codes.js";
import { splitCells } from "./cells.js";
import { cellOfOwn, labelsOf, readOwnFields } from "./own.js";
import { problem, sheetPart } from "./part.js";
import { readStop } from "./stops.js";
import {
  checkRainIn,
  isMissing,
  isTrace,
  readInteger,
  readRainUnit,
  readUnit,
  shortened,
  temperatureIn,
  textUpTo,
} from "./texts.js";

const UNKNOWN_SHOWN = 5;
const LONGEST_NAME = 120;

/** The case, what the server derived for it, and the problems. `tonight` is the packet's night, if it has
    it; `own` are the fields of the program, also those that are not asked that night. */
export function readSheet(cells, { visit, route, protocol, tonight, checklist, own }) {
  const parts = splitCells(cells);
  const [ofVisit, ofStop] = ["visit", "stop"].map((per) => own.filter((field) => field.per === per));
  const problems = unknownCells(withoutPlace(parts, ofVisit, ofStop));
  const head = sheetPart(parts.visit, problems, { labels: labelsOf(ofVisit) });
  const unit = head.read("temperature_unit", readUnit) ?? route.temperature_unit;
  const filled = readOwnFields(head, ofVisit);
  readFacts(head, route);
  const [start, end] = ["start", "end"].map((name) =>
    readWeather(parts[name], name, unit, protocol, problems),
  );
  const night = { night: visit.night, zone: route.time_zone };
  const context = { night, unit, protocol, ownOfStop: ofStop };
  const periods = [...parts.stops]
    .sort(([a], [b]) => a - b)
    .map(([stop, texts]) => readStop(stop, texts, context, problems))
    .filter(Boolean);
  const hours = hoursOf(route.stops, periods, tonight, protocol);
  const sky = Object.fromEntries(Object.entries(hours).map(([stop, { sky: codes }]) => [stop, codes]));
  const sheet = { night: visit.night, periods, start, end, own_filled: filled };
  return [{ visit: sheet, route: { ...route, checklist }, protocol, sky }, { hours }, problems];
}

/** The hours of the stops of the visit, by number; packets of an earlier release have none of stops that
    are closed. A last hour by the clock is that of any stop. */
function hoursOf(stops, periods, tonight, protocol) {
  if (!tonight) return {};
  const [first] = Object.values(tonight.stops);
  const anywhere = protocol.latest_end_clock && first && { latest_end: first.latest_end };
  const at = (number) => {
    const { id, changed } = stops.find((stop) => stop.number === number) ?? { changed: true };
    return (changed ? tonight.closed?.[id] : tonight.stops[number]) ?? anywhere;
  };
  const known = periods.map(({ stop }) => [stop, at(stop)]);
  return Object.fromEntries(known.filter(([, hours]) => hours));
}

function readFacts(head, route) {
  const unit = head.read("rain_unit", readRainUnit) ?? route.rain_unit;
  head.read("rain_48h", checkRainIn(unit ?? "mm"), (text) => isMissing(text) && !isTrace(text));
  head.read("second_observer", textUpTo(LONGEST_NAME));
}

function readWeather(texts, end, unit, protocol, problems) {
  const part = sheetPart(texts, problems, { prefix: `${end}_`, belongs: { end } });
  return {
    air_temperature: part.read("air_temperature", temperatureIn(unit)),
    beaufort: part.read("beaufort", readInteger),
    sky: part.readState("sky", SKY, protocol.sky_codes, "sky"),
  };
}

/** Addresses of filled cells that the sheet does not have. */
function withoutPlace(parts, ofVisit, ofStop) {
  const unknownIn = (texts, fields, prefix = "") => {
    const known = fields.map(cellOfOwn);
    return [...texts.keys()]
      .filter((name) => name.startsWith("own.") && !known.includes(name))
      .map((name) => prefix + name);
  };
  return [
    ...parts.unknown,
    ...unknownIn(parts.visit, ofVisit),
    ...[...parts.stops].flatMap(([number, texts]) => unknownIn(texts, ofStop, `stops.${number}.`)),
  ].sort();
}

function unknownCells(addresses) {
  if (!addresses.length) return [];
  const shown = addresses.slice(0, UNKNOWN_SHOWN).map((address) => ({ quoted: shortened(address) }));
  const more = addresses.length - shown.length;
  if (!more) return [problem("cell-unknown", {}, "", { cells: { and: shown } })];
  return [problem("cell-unknown", {}, "more", { cells: { list: shown }, more })];
}
