// Where the phone is. Everything works without: a position is a help and a record, never a condition.
import { gettext } from "./language.js";
import { bearing, distanceM } from "./rules/distance.js";

const POINTS = [
  gettext("north"),
  gettext("northeast"),
  gettext("east"),
  gettext("southeast"),
  gettext("south"),
  gettext("southwest"),
  gettext("west"),
  gettext("northwest"),
];
const TOO_OLD_MS = 60_000;
const AT_STOP_M = 40;
export const GOOD_ENOUGH_M = 50;

/** `state`: off, unasked, asking, on, refused, none. `fix`: { latitude, longitude, accuracy, at } or null. */
export const place = { state: "off", fix: null };
let watching = null;

function say(state, fix = place.fix) {
  Object.assign(place, { state, fix });
}

export function watch() {
  if (!("geolocation" in navigator)) return say("none");
  if (watching !== null) return undefined;
  say(place.fix ? "on" : "asking");
  watching = navigator.geolocation.watchPosition(
    ({ coords, timestamp }) => {
      const { latitude, longitude, accuracy } = coords;
      say("on", { latitude, longitude, accuracy, at: timestamp });
    },
    (error) => say(error.code === error.PERMISSION_DENIED ? "refused" : "asking"),
    { enableHighAccuracy: true, maximumAge: 10_000, timeout: 30_000 },
  );
  return undefined;
}

/** Watch at once where the browser need not ask; otherwise say first what the place is for. */
export async function watchIfAllowed() {
  const allowed = await navigator.permissions?.query({ name: "geolocation" }).catch(() => null);
  if (allowed?.state === "prompt" && watching === null) return say("unasked");
  return watch();
}

/** Spare the battery where no position is wanted. */
export function rest() {
  if (watching !== null) navigator.geolocation.clearWatch(watching);
  watching = null;
}

/** Distance in meters, direction in degrees and in words to a stop; null without a fresh position. */
export function wayTo(stop, now) {
  const { fix } = place;
  if (!fix || now - fix.at > TOO_OLD_MS || !stop.place) return null;
  const degrees = bearing(fix, stop.place);
  return {
    meters: distanceM(fix, stop.place),
    degrees,
    point: POINTS[Math.round(degrees / 45) % 8],
    accuracy: fix.accuracy,
  };
}

/** The stop that the phone is nearest to; null without a fresh position. */
export function nearest(stops, now) {
  const known = stops.filter((stop) => wayTo(stop, now));
  const meters = (stop) => wayTo(stop, now).meters;
  return known.length ? known.reduce((best, stop) => (meters(stop) < meters(best) ? stop : best)) : null;
}

/** Whether the phone is plainly at the stop. */
export const isThere = (way) => way !== null && way.accuracy <= GOOD_ENOUGH_M && way.meters <= AT_STOP_M;

/** The cells that record where the phone is, as texts. */
export function placeCells(stop, now) {
  const { fix } = place;
  if (!fix || now - fix.at > TOO_OLD_MS) return {};
  return {
    [`stops.${stop}.latitude`]: fix.latitude.toFixed(6),
    [`stops.${stop}.longitude`]: fix.longitude.toFixed(6),
    [`stops.${stop}.accuracy_m`]: String(Math.round(fix.accuracy)),
  };
}
