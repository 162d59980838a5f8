// Which species are asked about now, as surveys/learning/seasonal.py chooses them.
import { inDays } from "../rules/case.js";
import { CHOICES } from "./questions.js";

const LEAP_YEAR = 2024;
const DAYS = 366;
const DAY_MS = 86_400_000;

/** A scope, "calling", "nearest" or "none-calls", and those of the candidates that are asked about. `seasons`:
    by species its first and last day, such as "04-01"; null for any time. */
export function askedNow(candidates, seasons, night) {
  const away = new Map(candidates.map(({ species }) => [species, daysAway(night, seasons.get(species))]));
  const calling = candidates.filter(({ species }) => !away.get(species));
  if (!calling.length) return { scope: "none-calls", asked: candidates };
  if (calling.length >= Math.min(CHOICES, candidates.length)) return { scope: "calling", asked: calling };
  const nearest = candidates.toSorted((one, other) => away.get(one.species) - away.get(other.species));
  const kept = new Set(nearest.slice(0, CHOICES));
  return { scope: "nearest", asked: candidates.filter((one) => kept.has(one)) };
}

function daysAway(night, season) {
  if (!season || inDays(night, ...season)) return 0;
  const [first, last] = season;
  const day = night.slice(5);
  return Math.min(daysAfter(day, first), daysAfter(last, day));
}

/** Days from one day of a leap year to the next other one. */
function daysAfter(first, day) {
  const [from, to] = [first, day].map((one) => Date.parse(`${LEAP_YEAR}-${one}T00:00Z`) / DAY_MS);
  return (to - from + DAYS) % DAYS;
}
