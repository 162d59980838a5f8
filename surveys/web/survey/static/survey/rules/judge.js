// The rules that need no server, in the order in which their findings are shown.
import { afterLastHour, beforeDusk, outsideWindow, sunDoesNotSet } from "./night.js";
import { indexMissing, speciesOutOfSeason } from "./species.js";
import { farFromStop, listeningTooLong, listeningTooShort, waitTooShort } from "./stops.js";
import * as weather from "./weather.js";

const RULES = [
  ["outside-window", "query", outsideWindow],
  ["far-from-stop", "query", farFromStop],
  ["wait-too-short", "query", waitTooShort],
  ["listening-too-short", "query", listeningTooShort],
  ["listening-too-long", "note", listeningTooLong],
  ["before-dusk", "query", beforeDusk],
  ["after-last-hour", "query", afterLastHour],
  ["sun-does-not-set", "note", sunDoesNotSet],
  ["too-cold", "query", weather.tooCold],
  ["water-too-cold", "query", weather.waterTooCold],
  ["too-windy", "query", weather.tooWindy],
  ["wet-sky", "query", weather.wetSky],
  ["noise-too-loud", "query", weather.noiseTooLoud],
  ["temperature-missing", "query", weather.temperatureMissing],
  ["water-temperature-missing", "query", weather.waterTemperatureMissing],
  ["wind-missing", "query", weather.windMissing],
  ["sky-missing", "query", weather.skyMissing],
  ["noise-missing", "query", weather.noiseMissing],
  ["temperature-implausible", "query", weather.temperatureImplausible],
  ["index-missing", "query", indexMissing],
  ["species-out-of-season", "query", speciesOutOfSeason],
];

export const CODES = RULES.map(([code]) => code);

/** Findings on a case: those on the visit as a whole first, then stop by stop. `derived` is what
    the server worked out: `hours` leads from stops to `earliest_start` and `latest_end`. */
export function judge(rules, derived) {
  const found = RULES.flatMap(([code, severity, check]) =>
    check(rules, derived).map((said) => ({ code, severity, ...said })),
  );
  return found.sort((one, other) => (one.stop ?? 0) - (other.stop ?? 0) || (one.stop != null) - (other.stop != null));
}
