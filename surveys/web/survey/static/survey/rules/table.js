// Written by deploy/generate. Do not edit.
import * as hours from "./hours.js";
import * as night from "./night.js";
import * as own from "./own.js";
import * as species from "./species.js";
import * as stops from "./stops.js";
import * as times from "./times.js";
import * as weather from "./weather.js";

export const RULES = [
  ["outside-window", "query", night.outsideWindow],
  ["far-from-stop", "query", stops.farFromStop],
  ["wait-too-short", "query", times.waitTooShort],
  ["listening-too-short", "query", times.listeningTooShort],
  ["listening-too-long", "note", times.listeningTooLong],
  ["before-dusk", "query", hours.beforeDusk],
  ["after-last-hour", "query", hours.afterLastHour],
  ["sun-does-not-set", "note", hours.sunDoesNotSet],
  ["too-cold", "query", weather.tooCold],
  ["water-too-cold", "query", weather.waterTooCold],
  ["too-windy", "query", weather.tooWindy],
  ["wet-sky", "query", weather.wetSky],
  ["out-in-thunder", "note", weather.outInThunder],
  ["noise-too-loud", "query", weather.noiseTooLoud],
  ["temperature-missing", "query", weather.temperatureMissing],
  ["water-temperature-missing", "query", weather.waterTemperatureMissing],
  ["wind-missing", "query", weather.windMissing],
  ["sky-missing", "query", weather.skyMissing],
  ["noise-missing", "query", weather.noiseMissing],
  ["temperature-implausible", "query", weather.temperatureImplausible],
  ["index-missing", "query", species.indexMissing],
  ["distance-missing", "query", species.distanceMissing],
  ["species-out-of-season", "query", species.speciesOutOfSeason],
  ["own-field-missing", "query", own.ownFieldMissing],
];
