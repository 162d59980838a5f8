// Numbers, times and places as the messages of the rules put them: the same words as the server's.
import { gettext, marked, ngettext } from "../language.js";
import { decimal, shown, showTemperature, toCelsius } from "./decimal.js";

const MONTHS = [
  marked("January"),
  marked("February"),
  marked("March"),
  marked("April"),
  marked("May"),
  marked("June"),
  marked("July"),
  marked("August"),
  marked("September"),
  marked("October"),
  marked("November"),
  marked("December"),
];
const METERS_PER_FOOT = 0.3048;
const METERS_PER_MILE = 1609.344;
const NO_BREAK = "\u00a0";
const formats = new Map();

/** How the program writes clock times and dates. */
const style = () => document.documentElement.dataset;

export function halfUp(value, places = 0) {
  const scale = 10 ** places;
  return String(Math.floor(value * scale + 0.5) / scale);
}

function format(zone) {
  if (!formats.has(zone)) {
    const parts = { hour: "2-digit", minute: "2-digit", second: "2-digit", hourCycle: "h23" };
    formats.set(zone, new Intl.DateTimeFormat("en-GB", { timeZone: zone, ...parts }));
  }
  return formats.get(zone);
}

/** Local time in 24 hours, as a field for times takes it: 21:14:09. `instant` in milliseconds. */
export const fieldTime = (instant, zone) => format(zone).format(instant);

/** Local clock time, the minute that has begun: 9:14 pm or 21:14, as in surveys/dates.py. */
export function clock(instant, zone) {
  return timeOfDay(fieldTime(instant, zone).slice(0, 5));
}

export const clockWithSeconds = (instant, zone) => timeOfDay(fieldTime(instant, zone));

/** Of `21:14` or `21:14:09`. */
export function timeOfDay(text) {
  if (style().clock !== "12") return text;
  const [hour, ...rest] = text.split(":").map(Number);
  if (hour % 12 === 0 && !rest.some(Boolean)) return hour ? gettext("noon") : gettext("midnight");
  const time = `${hour % 12 || 12}${text.slice(2)}`;
  const words = hour < 12 ? gettext("{time} am", { time }) : gettext("{time} pm", { time });
  return words.replace(" ", NO_BREAK);
}

/** Digits with a decimal point, with the decimal mark of the reader's language. */
export function number(digits) {
  // The translation of this number shows the mark.
  return String(digits).replace(".", gettext("0.5")[1]);
}

/** 5 min, 4 min 30 s, 45 s, 1 h 20 min; parts of a second are left out. */
export function duration(seconds) {
  const whole = Math.trunc(seconds);
  const [h, min, s] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
  return [
    h ? gettext("{number} h", { number: h }) : "",
    min || !(h || s) ? gettext("{number} min", { number: min }) : "",
    s ? gettext("{number} s", { number: s }) : "",
  ]
    .filter(Boolean)
    .join(" ");
}

/** 30 min after sunset, 15 min before sunset, sunset. */
export function fromSunset(offset) {
  if (offset < 0) return gettext("{length} before sunset", { length: duration(-offset) });
  return offset ? gettext("{length} after sunset", { length: duration(offset) }) : gettext("sunset");
}

/** The text, with no line break between a number and its degrees: 42 °F. */
export const unbrokenDegrees = (text) => text.replaceAll(" °", `${NO_BREAK}°`);

export function degrees(celsius, unit) {
  return number(showTemperature(celsius, unit));
}

export function temperature(reading, unit) {
  const read = `${number(shown(decimal(reading.value)))}${NO_BREAK}°${reading.unit}`;
  return reading.unit === unit ? read : `${read} (${degrees(toCelsius(reading), unit)})`;
}

export function distance(meters, unit) {
  const miles = meters / METERS_PER_MILE;
  if (unit === "km") {
    if (meters < 999.5) return gettext("{number} m", { number: halfUp(meters) });
    return gettext("{number} km", { number: far(meters / 1000) });
  }
  if (miles < 0.2) return gettext("{number} ft", { number: halfUp(meters / METERS_PER_FOOT) });
  return gettext("{number} mi", { number: far(miles) });
}

/** To two places up to 10, to one up to 20, and whole from there on. */
function far(length) {
  const oneOrNone = length < 20 ? 1 : 0;
  return number(halfUp(length, length < 10 ? 2 : oneOrNone));
}

/** 80 km/h or 50 mph. */
export function speed(kmh, unit) {
  if (unit === "km") return gettext("{number} km/h", { number: halfUp(kmh) });
  return gettext("{number} mph", { number: halfUp((kmh * 1000) / METERS_PER_MILE) });
}

/** April 15, 2024 or 15 April 2024, of the date 2024-04-15. */
export function day(date) {
  const [year, month, number_] = date.split("-").map(Number);
  const values = { day: number_, month: gettext(MONTHS[month - 1]), year };
  const order = style().dateOrder;
  if (order === "ymd") return date;
  return order === "mdy" ? gettext("{month} {day}, {year}", values) : gettext("{day} {month} {year}", values);
}

/** December 1 or 1 December, of the day of the year 12-01. */
export function monthDay(text) {
  const [month, number_] = text.split("-").map(Number);
  const values = { day: number_, month: gettext(MONTHS[month - 1]) };
  const isDayFirst = (style().dateOrder ?? "dmy") === "dmy";
  return isDayFirst ? gettext("{day} {month}", values) : gettext("{month} {day}", values);
}

/** December 15 to March 15. */
export function span(first, last) {
  return gettext("{first} to {last}", { first: monthDay(first), last: monthDay(last) });
}

export function stopNumbers(numbers) {
  return ngettext("stop {stops}", "stops {stops}", numbers.length, { stops: listed(numbers) });
}

/** 1, 1 and 2, 1, 2 and 5; with `last` "or", 1, 2 or 5. */
export function listed(items, last = "and") {
  const words = items.map(String);
  if (words.length < 2) return words.join("");
  const first = words.slice(0, -1).join(gettext(", "));
  const values = { first, last: words.at(-1) };
  return last === "or" ? gettext("{first} or {last}", values) : gettext("{first} and {last}", values);
}
