// Written by deploy/generate. Do not edit.
import * as hours from "./hours.js";
import * as night from "./night.js";
import * as observer from "./observer.js";
import * as own from "./own.js";
import * as species from "./species.js";
import * as stops from "./stops.js";
import * as times from "./times.js";
import * as weather from "./weather.js";

export const RULES = [
  ["future-night", "refuse", night.futureNight],
  ["outside-window", "query", night.outsideWindow],
  ["same-night-twice", "query", night.sameNightTwice],
  ["too-soon-after-last-visit", "query", night.tooSoonAfterLastVisit],
  ["window-visited-before", "note", night.windowVisitedBefore],
  ["observer-not-qualified", "query", observer.observerNotQualified],
  ["training-unknown", "note", observer.trainingUnknown],
  ["unknown-stop", "refuse", stops.unknownStop],
  ["stop-changed", "query", stops.stopChanged],
  ["twice-the-same-stop", "refuse", stops.twiceTheSameStop],
  ["too-few-stops", "query", stops.tooFewStops],
  ["stop-left-blank", "note", stops.stopLeftBlank],
  ["stops-out-of-order", "query", stops.stopsOutOfOrder],
  ["far-from-stop", "query", stops.farFromStop],
  ["stops-too-close", "note", stops.stopsTooClose],
  ["time-on-another-night", "refuse", times.timeOnAnotherNight],
  ["future-time", "refuse", times.futureTime],
  ["start-before-arrival", "refuse", times.startBeforeArrival],
  ["finish-before-start", "refuse", times.finishBeforeStart],
  ["pause-longer-than-listening", "refuse", times.pauseLongerThanListening],
  ["stops-overlap", "refuse", times.stopsOverlap],
  ["impossible-drive", "query", times.impossibleDrive],
  ["times-missing", "query", times.timesMissing],
  ["wait-too-short", "query", times.waitTooShort],
  ["listening-too-short", "query", times.listeningTooShort],
  ["listening-too-long", "note", times.listeningTooLong],
  ["pause-not-restarted", "query", times.pauseNotRestarted],
  ["before-dusk", "query", hours.beforeDusk],
  ["after-last-hour", "query", hours.afterLastHour],
  ["sun-does-not-set", "note", hours.sunDoesNotSet],
  ["sunset-unknown", "note", hours.sunsetUnknown],
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
  ["unknown-wind-force", "refuse", weather.unknownWindForce],
  ["index-impossible", "refuse", species.indexImpossible],
  ["species-twice-at-stop", "refuse", species.speciesTwiceAtStop],
  ["calls-at-skipped-stop", "refuse", species.callsAtSkippedStop],
  ["index-missing", "query", species.indexMissing],
  ["distance-missing", "query", species.distanceMissing],
  ["distance-not-asked", "note", species.distanceNotAsked],
  ["species-off-checklist", "query", species.speciesOffChecklist],
  ["species-out-of-season", "query", species.speciesOutOfSeason],
  ["own-field-missing", "query", own.ownFieldMissing],
];

export const READING = {
  "cell-unreadable": "refuse",
  "cell-out-of-range": "refuse",
  "cell-too-long": "refuse",
  "cell-unknown": "note",
  "clock-repeated": "refuse",
  "clock-skipped": "refuse",
  "clock-by-day": "query",
  "status-unclear": "refuse",
  "skipped-with-times": "refuse",
  "skip-reason-missing": "note",
  "position-incomplete": "note",
};
