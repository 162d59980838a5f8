// Written by deploy/generate. Do not edit.
export const SENTENCES = {
  "outside-window": [
    "The night of {night} is outside every survey window: {windows}.",
    [
      "Check the date. Use the date on which the evening began, even if you finished after midnight.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "far-from-stop": [
    "You were {distance} from stop {stop}; the protocol allows {most}.",
    [
      "Check that this is the right stop.",
      "If you can no longer use the stop, tell the coordinator.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "far-from-stop.accuracy": [
    "You were {distance} (give or take {accuracy}) from stop {stop}; the protocol allows {most}.",
    [
      "Check that this is the right stop.",
      "If you can no longer use the stop, tell the coordinator.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "wait-too-short": [
    "The quiet wait at stop {stop} was {waited}; the protocol asks for {wanted}.",
    [
      "If you are still at the stop, wait quietly and listen again.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "listening-too-short": [
    "You listened at stop {stop} for {length}; the protocol asks for {wanted}.",
    [
      "If you are still at the stop, listen again for the full time.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "listening-too-short.pause": [
    "You listened at stop {stop} for {length} (not counting a pause of {pause}); the protocol asks " +
      "for {wanted}.",
    [
      "If you are still at the stop, listen again for the full time.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "listening-too-long": [
    "You listened at stop {stop} for {length}; the protocol asks for no more than {longest}.",
    ["Check the times.", "If there was a pause, enter how long it was."],
  ],
  "before-dusk": [
    "Listening at stop {stop} starts at {start}; the earliest start is {earliest} ({limit}).",
    [
      "Check the time.",
      "If you are at the stop, wait and start over.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "after-last-hour": [
    "Listening at stop {stop} ends at {end}; the latest end is {latest}.",
    ["Check the time.", "If it is right, leave it as is. The coordinator will decide whether it counts."],
  ],
  "sun-does-not-set": [
    "The sun does not set or rise here this night ({stops}), so we cannot check the hours.",
    ["Nothing to fix.", "The coordinator will judge the hours."],
  ],
  "too-cold": [
    "{reading} {place} is below {lowest}, the minimum air temperature of the window “{window}”.",
    [
      "Check the reading.",
      "If you are still out, stop for tonight and try another night.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "water-too-cold": [
    "{reading} {place} is below {lowest}, the minimum water temperature of the window “{window}”.",
    [
      "Check the reading.",
      "If you are still out, stop for tonight and try another night.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "too-windy": [
    "Wind force {force} {place} is above {most} ({sign}), the protocol’s wind limit.",
    [
      "If you are still out, stop for tonight and try another night.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "wet-sky": [
    "The sky {place} is “{sky}”, and the protocol allows no survey in it.",
    [
      "If you are still out, stop for tonight and try another night.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "out-in-thunder": [
    "There was thunder {place}.",
    [
      "Do not start, or stop now: get into a hard-topped car or a building.",
      "Wait 30 minutes after the last thunder.",
    ],
  ],
  "noise-too-loud": [
    "The noise at stop {stop} is “{noise}”; the protocol’s limit is “{most}”.",
    [
      "If the noise may pass, wait and listen again.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "temperature-missing": [
    "Stop {stop} has no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "temperature-missing.visit": [
    "The visit has no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "temperature-missing.side": [
    "The {side} of the visit and the stops have no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "water-temperature-missing": [
    "Stop {stop} has no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "water-temperature-missing.visit": [
    "The visit has no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "water-temperature-missing.side": [
    "The {side} of the visit and the stops have no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "wind-missing": [
    "Stop {stop} has no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "wind-missing.visit": [
    "The visit has no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "wind-missing.side": [
    "The {side} of the visit and the stops have no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "sky-missing": [
    "Stop {stop} has no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "sky-missing.visit": [
    "The visit has no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "sky-missing.side": [
    "The {side} of the visit and the stops have no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "noise-missing": [
    "Stop {stop} has no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "noise-missing.visit": [
    "The visit has no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "noise-missing.side": [
    "The {side} of the visit and the stops have no {reading}, so we cannot check the limit.",
    ["Write it down if someone noted it. Otherwise the coordinator will decide."],
  ],
  "temperature-implausible": [
    "{reading} {place} is not plausible for the {kind}; your program expects {lowest} to {highest}.",
    [
      "Check the number, its sign and its unit (°C or °F).",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "index-missing": [
    "{species} at stop {stop} is on the sheet but has no call index.",
    ["Choose 0 if you did not hear it, 1 to 3 if you did, or “heard, not sure”."],
  ],
  "distance-missing": [
    "{species} at stop {stop} is not marked near or far.",
    [
      "Near: you heard at least one within {radius} of the stop. Far: all were beyond.",
      "If you cannot tell, leave it; the coordinator decides.",
    ],
  ],
  "species-out-of-season": [
    "{species} at stop {stop} on the night of {night} is outside its calling season here, {season}.",
    [
      "Check the species and the date.",
      "Early or late calling does happen; a recording helps.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "own-field-missing": [
    "“{field}” is blank at stop {stop}; your program asks for it.",
    ["Fill it in if someone noted it; if no one did, leave it blank."],
  ],
  "own-field-missing.visit": [
    "“{field}” is blank; your program asks for it.",
    ["Fill it in if someone noted it; if no one did, leave it blank."],
  ],
};

export const VOCABULARY = {
  air: "air",
  water: "water",
  air_temperature: "air temperature",
  water_temperature: "water temperature",
  beaufort: "wind force",
  sky: "note of the sky",
  noise: "note of the noise",
  arrived_at: "arrival",
  started_at: "start",
  finished_at: "end",
  start: "start",
  end: "end",
  listened: "surveyed",
  skipped: "skipped",
  dry: "dry",
  pools: "pools",
  full: "full",
  not_seen: "not seen",
  eggs: "eggs",
  larva: "larva",
  metamorph: "metamorph",
  juvenile: "juvenile",
  adult: "adult",
};
