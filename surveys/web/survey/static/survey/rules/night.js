// Rules on the night: its date, its season window, the other visits of the route.
import { nightOf } from "../clock.js";
import { breach, inDays, instant, windowOf } from "./case.js";

const DAY_MS = 86_400_000;
const ofNight = (params) => breach({ field: "night" }, params);

export function futureNight({ visit, route, surroundings }) {
  const tonight = nightOf(instant(surroundings.now), route.time_zone);
  return visit.night > tonight ? [ofNight({ night: { date: visit.night } })] : [];
}

export function outsideWindow({ visit, protocol }) {
  if (!protocol.windows.length || windowOf(visit.night, protocol)) return [];
  const windows = protocol.windows.map(({ name, opens, closes }) => ({ window: { name, opens, closes } }));
  return [ofNight({ night: { date: visit.night }, windows: { and: windows } })];
}

export function sameNightTwice({ visit, surroundings }) {
  return otherNights(surroundings).includes(visit.night) ? [ofNight({ night: { date: visit.night } })] : [];
}

/** Judged in both directions, because visits may be written down in any order. */
export function tooSoonAfterLastVisit({ visit, protocol, surroundings }) {
  const wanted = protocol.min_days_between_visits ?? null;
  const gapTo = (other) => Math.round(Math.abs(Date.parse(visit.night) - Date.parse(other)) / DAY_MS);
  const others = otherNights(surroundings).filter((other) => other !== visit.night);
  if (wanted === null || !others.length) return [];
  const [nearest] = others.sort((a, b) => gapTo(a) - gapTo(b) || (a < b ? -1 : 1));
  if (gapTo(nearest) >= wanted) return [];
  return [ofNight({ gap: { days: gapTo(nearest) }, other: { date: nearest }, wanted: { days: wanted } })];
}

export function windowVisitedBefore({ visit, protocol, surroundings }) {
  const window = windowOf(visit.night, protocol);
  if (!window) return [];
  const others = otherNights(surroundings)
    .filter((other) => other !== visit.night && inDays(other, window.opens, window.closes))
    .sort();
  if (!others.length) return [];
  return [ofNight({ window: window.name, others: { and: others.map((date) => ({ date })) } })];
}

const otherNights = ({ other_nights }) => [...(other_nights ?? [])];
