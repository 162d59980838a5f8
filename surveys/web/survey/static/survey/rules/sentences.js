// Written by deploy/generate. Do not edit.
export const SENTENCES = {
  "outside-window": [
    "The night of {night} is in no season window. The windows are {windows}.",
    [
      "Check the date: a night has the date of its evening.",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
  "far-from-stop": [
    "The position was measured {distance} from stop {stop}; the protocol allows {most}.",
    [
      "Check that this is the right stop.",
      "If the stop cannot be used any more, tell the coordinator.",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
  "far-from-stop.accuracy": [
    "The position was measured {distance} (give or take {accuracy}) from stop {stop}; the protocol " +
      "allows {most}.",
    [
      "Check that this is the right stop.",
      "If the stop cannot be used any more, tell the coordinator.",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
  "wait-too-short": [
    "The wait before listening at stop {stop} was {waited}; the protocol asks for {wanted}.",
    [
      "If you are still at the stop, wait quietly and listen again.",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
  "listening-too-short": [
    "The listening at stop {stop} took {length}; the protocol asks for {wanted}.",
    [
      "If you are still at the stop, listen again for the full time.",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
  "listening-too-short.pause": [
    "The listening at stop {stop} took {length}, the pause of {pause} taken off; the protocol asks " +
      "for {wanted}.",
    [
      "If you are still at the stop, listen again for the full time.",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
  "listening-too-long": [
    "The listening at stop {stop} took {length}; the protocol asks for no more than {longest}.",
    ["Check the times.", "If there was a pause, write how long it was."],
  ],
  "before-dusk": [
    "The listening at stop {stop} starts at {start}; the earliest start is {earliest} ({limit}).",
    [
      "Check the time.",
      "If you are at the stop, wait and begin again.",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
  "after-last-hour": [
    "The listening at stop {stop} ends at {end}; the latest end is {latest}.",
    ["Check the time.", "If it is right, leave it: the coordinator decides whether it counts."],
  ],
  "sun-does-not-set": [
    "The sun does not set or does not rise here on this night ({stops}), so it cannot be told " +
      "whether the hours meet the protocol.",
    ["Nothing needs mending.", "The coordinator judges the hours."],
  ],
  "too-cold": [
    "{reading} {place} is below {lowest}, the lowest air temperature of the window “{window}”.",
    [
      "Check the reading.",
      "If you are still out, break off and come back on another night.",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
  "water-too-cold": [
    "{reading} {place} is below {lowest}, the lowest water temperature of the window “{window}”.",
    [
      "Check the reading.",
      "If you are still out, break off and come back on another night.",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
  "too-windy": [
    "Wind force {force} {place} is above {most} ({sign}), the strongest wind in which the protocol " +
      "is run.",
    [
      "If you are still out, break off and come back on another night.",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
  "wet-sky": [
    "With sky code {code} ({sky}) {place} the protocol is not run.",
    [
      "If you are still out, break off and come back on another night.",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
  "wet-sky.no-words": [
    "With sky code {code} {place} the protocol is not run.",
    [
      "If you are still out, break off and come back on another night.",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
  "noise-too-loud": [
    "Noise index {noise} at stop {stop} is above {most}, the most that the protocol allows.",
    [
      "If the noise may pass, wait and listen again.",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
  "temperature-missing": [
    "Stop {stop} has no {reading}, so it cannot be told whether the limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "temperature-missing.visit": [
    "The visit has no {reading}, so it cannot be told whether the limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "temperature-missing.side": [
    "The {side} of the visit has no {reading}, nor have the stops, so it cannot be told whether the " +
      "limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "water-temperature-missing": [
    "Stop {stop} has no {reading}, so it cannot be told whether the limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "water-temperature-missing.visit": [
    "The visit has no {reading}, so it cannot be told whether the limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "water-temperature-missing.side": [
    "The {side} of the visit has no {reading}, nor have the stops, so it cannot be told whether the " +
      "limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "wind-missing": [
    "Stop {stop} has no {reading}, so it cannot be told whether the limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "wind-missing.visit": [
    "The visit has no {reading}, so it cannot be told whether the limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "wind-missing.side": [
    "The {side} of the visit has no {reading}, nor have the stops, so it cannot be told whether the " +
      "limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "sky-missing": [
    "Stop {stop} has no {reading}, so it cannot be told whether the limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "sky-missing.visit": [
    "The visit has no {reading}, so it cannot be told whether the limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "sky-missing.side": [
    "The {side} of the visit has no {reading}, nor have the stops, so it cannot be told whether the " +
      "limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "noise-missing": [
    "Stop {stop} has no {reading}, so it cannot be told whether the limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "noise-missing.visit": [
    "The visit has no {reading}, so it cannot be told whether the limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "noise-missing.side": [
    "The {side} of the visit has no {reading}, nor have the stops, so it cannot be told whether the " +
      "limit was met.",
    ["Write it down if somebody noted it. Otherwise the coordinator decides."],
  ],
  "temperature-implausible": [
    "{reading} {place} is hard to believe for the {kind}; expected is {lowest} to {highest}.",
    [
      "Check the number, its sign and its unit (°C or °F).",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
  "index-missing": [
    "{species} at stop {stop} was opened, but has no call index.",
    ["Choose 0 if it was not heard, 1 to 3 if it was, or “heard, not sure”."],
  ],
  "species-out-of-season": [
    "{species} at stop {stop} on the night of {night} is outside its calling season here, {season}.",
    [
      "Check the species and the date.",
      "Early and late callers do occur; a recording helps.",
      "If it is right, leave it: the coordinator decides whether it counts.",
    ],
  ],
};

export const VOCABULARY = {
  air: "air",
  water: "water",
  air_temperature: "air temperature",
  water_temperature: "water temperature",
  beaufort: "wind force",
  sky: "sky code",
  noise_index: "noise index",
  arrived_at: "arrival",
  started_at: "start of the listening",
  finished_at: "end of the listening",
  start: "start",
  end: "end",
  listened: "listened",
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
