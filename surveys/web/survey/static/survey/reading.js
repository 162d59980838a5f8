// From the cells of a sheet and the packet to a case that the rules can judge. What cannot be read
// here is left out; the server reads it again and says so.
import { readTime } from "./clocktimes.js";
import { callOf } from "./rules/case.js";
import { NOISE, SKY } from "./rules/codes.js";

const NUMBER = /^[+-]?(\d{1,9}([.,]\d{1,9})?|[.,]\d{1,9})$/;
const SHORTEST_WORD = 3;
const MISSING = new Set(["", "-", "–", "—", "t", "n/a", "na"]);

const clean = (text) => (MISSING.has((text ?? "").trim().toLowerCase()) ? null : text.trim());

function number(text) {
  const typed = clean(text)?.replace(/[−–]/g, "-");
  return typed && NUMBER.test(typed) ? typed.replace(",", ".").replace(/^([+-]?)\./, "$10.") : null;
}

function whole(text) {
  const read = number(text);
  return read !== null && Number.isInteger(Number(read)) ? Number(read) : null;
}

function temperature(text, unit) {
  const match = /^(.*?)\s*(?:°|º|deg)?\s*([cf])?$/i.exec(clean(text) ?? "");
  const value = match && number(match[1]);
  return value ? { value: value.replace("+", ""), unit: match[2]?.toUpperCase() ?? unit } : null;
}

const folded = (text) => text.trim().toLowerCase();

/** The state that a text names: by a code of the protocol, by its key, or by its name or the beginning
    of it. */
export function stateOf(text, states, codes) {
  const typed = folded(text ?? "");
  const code = Object.keys(codes).find((one) => folded(one) === typed);
  if (code !== undefined) return codes[code];
  const words = typed.replace(/[\s_-]+/g, " ");
  const found = states.find(([key, name]) => [key.replaceAll("_", " "), name].includes(words));
  if (found) return found[0];
  const begun = words.length < SHORTEST_WORD ? [] : states.filter(([, name]) => name.startsWith(words));
  return begun.length === 1 ? begun[0][0] : null;
}

function instant(names, name, night) {
  const typed = clean(names.get(name));
  const milliseconds = typed && readTime(typed, names.get(`${name}.fold`) ?? "", night);
  return milliseconds === null ? null : new Date(milliseconds).toISOString();
}

const weather = (cells, part, unit, protocol) => ({
  air_temperature: temperature(cells.get(`${part}.air_temperature`), unit),
  beaufort: whole(cells.get(`${part}.beaufort`)),
  sky: stateOf(cells.get(`${part}.sky`), SKY, protocol.sky_codes),
});

function calls(names) {
  return [...names]
    .filter(([name, text]) => name.startsWith("calls.") && text.trim() !== "")
    .sort(([a], [b]) => (a < b ? -1 : 1))
    .map(([name, text]) => {
      const species = name.slice("calls.".length);
      const { index, distance } = callOf(text);
      if (index === "?") return { species, index: null, not_sure: true };
      return { species, index: whole(index), distance };
    });
}

const own = (names) =>
  [...names].filter(([name, text]) => name.startsWith("own.") && clean(text)).map(([name]) => name.slice(4));

function statusOf(names) {
  const typed = (names.get("status") ?? "").trim();
  if (typed) return ["listened", "skipped"].includes(typed) ? typed : null;
  const heard = [...names].some(([name, text]) => name.startsWith("calls.") && clean(text));
  return heard || clean(names.get("started_at")) || clean(names.get("finished_at")) ? "listened" : null;
}

function period(stop, names, { unit, night, protocol }) {
  const status = statusOf(names);
  if (status === null) return null;
  const [latitude, longitude] = [number(names.get("latitude")), number(names.get("longitude"))];
  const accuracy = number(names.get("accuracy_m"));
  return {
    stop,
    status,
    arrived_at: instant(names, "arrived_at", night),
    started_at: instant(names, "started_at", night),
    finished_at: instant(names, "finished_at", night),
    paused: Number(number(names.get("paused_minutes")) ?? 0) * 60,
    air_temperature: temperature(names.get("air_temperature"), unit),
    water_temperature: temperature(names.get("water_temperature"), unit),
    beaufort: whole(names.get("beaufort")),
    sky: stateOf(names.get("sky"), SKY, protocol.sky_codes),
    noise: stateOf(names.get("noise"), NOISE, protocol.noise_codes),
    measured_at: latitude && longitude ? { latitude: Number(latitude), longitude: Number(longitude) } : null,
    measured_accuracy_m: accuracy === null ? null : Number(accuracy),
    calls: calls(names),
    own_filled: own(names),
  };
}

/** Cells of each stop: number to (name to text). */
export function byStop(cells) {
  const stops = new Map();
  for (const [address, text] of cells) {
    const match = /^stops\.([1-9]\d{0,3})\.(.+)$/s.exec(address);
    if (!match || !text.trim()) continue;
    const number_ = Number(match[1]);
    if (!stops.has(number_)) stops.set(number_, new Map());
    stops.get(number_).set(match[2], text);
  }
  return stops;
}

/** The case and what the server derived for it; `tonight` is the packet's night, if it has it. */
export function readCase(cells, { visit, route, protocol, tonight, checklist }) {
  const unit = (cells.get("temperature_unit") ?? "").trim().toUpperCase() || route.temperature_unit;
  const night = { night: visit.night, zone: route.time_zone };
  const periods = [...byStop(cells)]
    .sort(([a], [b]) => a - b)
    .map(([stop, names]) => period(stop, names, { unit, night, protocol }))
    .filter(Boolean);
  const hours = tonight?.stops ?? {};
  const sky = Object.fromEntries(Object.entries(hours).map(([stop, { sky: codes }]) => [stop, codes]));
  const sheet = {
    night: visit.night,
    periods,
    start: weather(cells, "start", unit, protocol),
    end: weather(cells, "end", unit, protocol),
    own_filled: own(cells),
  };
  return [{ visit: sheet, route: { ...route, checklist }, protocol, sky }, { hours }];
}
