// Numbers, times and places as the messages of the rules put them: the same words as the server's.
import { decimal, shown, showTemperature, toCelsius } from "./decimal.js";

const MONTHS = [
  "January",
  "February",
  "March",
  "April",
  "May",
  "June",
  "July",
  "August",
  "September",
  "October",
  "November",
  "December",
];
const METERS_PER_FOOT = 0.3048;
const METERS_PER_MILE = 1609.344;
const MINUTE = 60_000;
const formats = new Map();

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

/** Local clock time, the minute that has begun: 21:14. `instant` in milliseconds. */
export function clock(instant, zone) {
  return format(zone).format(instant).slice(0, 5);
}

/** The first full minute that is not before the instant. */
export function clockUp(instant, zone) {
  return clock(Math.ceil(instant / MINUTE) * MINUTE, zone);
}

export function clockWithSeconds(instant, zone) {
  return format(zone).format(instant);
}

/** 5 min, 4 min 30 s, 45 s, 1 h 20 min; parts of a second are left out. */
export function duration(seconds) {
  const whole = Math.trunc(seconds);
  const parts = [
    [Math.floor(whole / 3600), "h"],
    [Math.floor(whole / 60) % 60, "min"],
    [whole % 60, "s"],
  ];
  return (
    parts
      .filter(([number]) => number)
      .map(([number, unit]) => `${number} ${unit}`)
      .join(" ") || "0 min"
  );
}

export function temperature(reading, unit) {
  const read = `${shown(decimal(reading.value))} °${reading.unit}`;
  return reading.unit === unit ? read : `${read} (${showTemperature(toCelsius(reading), unit)})`;
}

export function distance(meters, unit) {
  if (unit === "km") return meters < 999.5 ? `${halfUp(meters)} m` : `${halfUp(meters / 1000, 2)} km`;
  const miles = meters / METERS_PER_MILE;
  return miles < 0.2 ? `${halfUp(meters / METERS_PER_FOOT)} ft` : `${halfUp(miles, 2)} mi`;
}

/** 15 April 2024, of the date 2024-04-15. */
export function day(date) {
  const [year, month, number] = date.split("-").map(Number);
  return `${number} ${MONTHS[month - 1]} ${year}`;
}

/** 1 December, of the day of the year 12-01. */
export function monthDay(text) {
  const [month, number] = text.split("-").map(Number);
  return `${number} ${MONTHS[month - 1]}`;
}

export function stopNumbers(numbers) {
  return `stop${numbers.length === 1 ? "" : "s"} ${listed(numbers)}`;
}

export function listed(items, last = "and") {
  const words = items.map(String);
  if (words.length < 2) return words.join("");
  return `${words.slice(0, -1).join(", ")} ${last} ${words.at(-1)}`;
}
