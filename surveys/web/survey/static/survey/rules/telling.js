// Says a finding to a reader: code and parameters in, sentences in the reader's language out. The
// kinds of parameters are those of surveys/protocol/params.py.
import { filled, gettext, ngettext } from "../language.js";
import { BEAUFORT, NOISE, SKY } from "./codes.js";
import { decimal } from "./decimal.js";
import { CELLS, SENTENCES, VOCABULARY } from "./sentences.js";
import {
  clock,
  clockWithSeconds,
  day,
  degrees,
  distance,
  duration,
  fromSunset,
  listed,
  span,
  speed,
  stopNumbers,
  temperature,
  timeOfDay,
} from "./words.js";

const nameIn = (states, key) => states.find(([state]) => state === key)[1];

const KINDS = {
  clock: (value, { zone }) => clock(Date.parse(value), zone),
  clock_with_seconds: (value, { zone }) => clockWithSeconds(Date.parse(value), zone),
  time_of_day: timeOfDay,
  duration_s: duration,
  from_sunset_s: fromSunset,
  date: day,
  season: ([first, last]) => span(first, last),
  temperature: (value, { temperatureUnit }) => temperature(value, temperatureUnit),
  celsius: (value, { temperatureUnit }) => degrees(decimal(value), temperatureUnit),
  distance_m: (value, { distanceUnit }) => distance(value, distanceUnit),
  days: (value) => ngettext("{number} day", "{number} days", value),
  speed_kmh: (value, { distanceUnit }) => speed(value, distanceUnit),
  stops: stopNumbers,
  times: (value) => (value === 2 ? gettext("twice") : ngettext("once", "{number} times", value)),
  place: placeWords,
  cell: cellWords,
  species: (value, { species }) => species.get(value) ?? value,
  sky: (value) => gettext(nameIn(SKY, value)),
  noise: (value) => gettext(nameIn(NOISE, value)),
  wind_sign: (value) => gettext(BEAUFORT.find(([force]) => force === value)?.[2] ?? ""),
  word: (value) => gettext(VOCABULARY[value] ?? value.replaceAll("_", " ")),
  window: ({ name, opens, closes }) =>
    gettext("{window} ({days})", { window: name, days: span(opens, closes) }),
  quoted: (text) => gettext("“{text}”", { text }),
  list: (values, reader) => values.map((value) => show(value, reader)).join(gettext(", ")),
  and: (values, reader) => listed(values.map((value) => show(value, reader))),
  or: (values, reader) =>
    listed(
      values.map((value) => show(value, reader)),
      "or",
    ),
};

/** Whom findings on a record are said to: the units of the route, and the names of its species and of
    others, `names`: code and name each. */
export function readerOf({ route, names = [] }) {
  return {
    zone: route.time_zone,
    temperatureUnit: route.temperature_unit,
    distanceUnit: route.distance_unit,
    species: new Map([
      ...names,
      ...(route.checklist ?? []).map(({ code, common_name }) => [code, common_name]),
    ]),
  };
}

/** The finding with its `message` and `remedy`. */
export function told(finding, reader) {
  const { code, variant, params } = finding;
  const [message, remedy] = SENTENCES[variant ? `${code}.${variant}` : code];
  const values = Object.fromEntries(
    Object.entries(params).map(([name, param]) => [name, show(param, reader)]),
  );
  const text = Array.isArray(message)
    ? ngettext(message[0], message[1], params[message[2]], values)
    : gettext(message, values);
  return {
    ...finding,
    message: params.cell ? gettext("{cell}: {problem}", { cell: values.cell, problem: text }) : text,
    remedy: remedy.map((sentence) => filled(gettext(sentence), values)).join(" "),
  };
}

/** A parameter in words. */
function show(param, reader) {
  if (typeof param !== "object") return String(param);
  const [[kind, value]] = Object.entries(param);
  return KINDS[kind](value, reader);
}

/** A cell by its name and the `stop` or the `end` that it belongs to. */
function cellWords({ name, stop, end }) {
  const cell = gettext(CELLS[name] ?? name);
  if (stop !== undefined) return gettext("{cell} at stop {stop}", { cell, stop });
  if (end === "start") return gettext("{cell} at the start", { cell });
  return end === "end" ? gettext("{cell} at the end", { cell }) : cell;
}

function placeWords(place) {
  if (typeof place === "number") return gettext("at stop {stop}", { stop: place });
  return place === "end" ? gettext("at the end of the visit") : gettext("at the start of the visit");
}
