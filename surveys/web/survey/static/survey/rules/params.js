// What the sentence of a finding is filled with: the kinds of surveys/protocol/params.py.
import { decimal, shown } from "./decimal.js";

const MINUTE = 60_000;
const exact = (number) => shown(number).replace("−", "-");

/** Of milliseconds; whole seconds have no fraction, as on the server. */
export const clock = (instant) => ({ clock: isoInstant(instant) });
/** Two clock times to be told apart: with seconds where they share their minute. */
export function clocks(first, second) {
  const share = first !== second && Math.floor(first / MINUTE) === Math.floor(second / MINUTE);
  const kind = share ? "clock_with_seconds" : "clock";
  return [first, second].map((one) => ({ [kind]: isoInstant(one) }));
}
export const duration = (seconds) => ({ duration_s: Math.trunc(seconds) });
/** To the next full second, so that a short pause is never told as none. */
export const pause = (seconds) => ({ duration_s: Math.ceil(Math.round(seconds * 1000) / 1000) });
/** To a millimeter, so that the server comes to the same number. */
export const distance = (meters) => ({ distance_m: Math.floor(meters * 1000 + 0.5) / 1000 });
export const speed = (kmh) => ({ speed_kmh: Math.floor(kmh * 1000 + 0.5) / 1000 });
export const temperature = ({ value, unit }) => ({ temperature: { value: exact(decimal(value)), unit } });
export const celsius = (bound) => ({ celsius: exact(bound) });
/** The stop, or the end of the visit that a field such as `start.sky` names. */
export const place = ({ stop, field }) => ({ place: stop ?? field.split(".")[0] });

function isoInstant(instant) {
  const [seconds, fraction] = new Date(instant).toISOString().slice(0, -1).split(".");
  return fraction === "000" ? `${seconds}Z` : `${seconds}.${fraction}000Z`;
}
