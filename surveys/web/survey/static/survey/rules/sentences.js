// Written by deploy/generate. Do not edit.
export const SENTENCES = {
  "future-night": [
    "The night of {night} is in the future.",
    ["Check the date. Use the date on which the evening began, even if you finished after midnight."],
  ],
  "outside-window": [
    "The night of {night} is outside every survey window: {windows}.",
    [
      "Check the date. Use the date on which the evening began, even if you finished after midnight.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "same-night-twice": [
    "This route already has a visit on the night of {night}.",
    [
      "Check the route and the date.",
      "If two people surveyed the route that night, leave it as is. The coordinator will decide which " +
        "visit counts.",
    ],
  ],
  "too-soon-after-last-visit": [
    "This visit is only {gap} from the one on the night of {other}; the protocol asks for {wanted}.",
    ["Check the date.", "If it is right, leave it as is. The coordinator will decide whether it counts."],
  ],
  "window-visited-before": [
    "The window “{window}” already has a visit of this route, on the night of {others}.",
    ["Nothing to fix if you meant to make an extra visit.", "Otherwise check the date."],
  ],
  "observer-not-qualified": [
    "The protocol asks for a passed call-identification test, and none is on record for the observer" +
      " of this visit.",
    [
      "If you passed it, tell the coordinator the date.",
      "The coordinator will decide whether the visit counts.",
    ],
  ],
  "observer-without-test": [
    "The protocol asks for a passed call-identification test, and none is on record for the observer" +
      " of this visit.",
    ["If you passed it, tell the coordinator the date.", "The visit counts as it is."],
  ],
  "training-unknown": [
    "The protocol asks for a passed call-identification test, but no tests are on record, so we " +
      "cannot check this.",
    ["Nothing to fix in this visit."],
  ],
  "unknown-stop": ["Route {route} has no stop {stop}.", ["Correct the number.", "The route has {stops}."]],
  "unknown-stop.no-stops": [
    "Route {route} has no stop {stop}.",
    ["Check the date.", "The route has no stops on this night."],
  ],
  "stop-changed": [
    "Stop {stop} ({name}) is not part of the route on this night.",
    ["If you listened there, leave it: the coordinator decides whether it counts."],
  ],
  "stop-changed.replaced": [
    "Stop {stop} has moved. This visit was surveyed at its old place ({name}).",
    ["If you listened there, leave it: the coordinator decides whether it counts."],
  ],
  "twice-the-same-stop": [
    "Stop {stop} is on the sheet {times}.",
    ["Keep one of them, or correct the number of the stop."],
  ],
  "too-few-stops": [
    [
      "You surveyed {listened} stop; the protocol asks for at least {wanted}.",
      "You surveyed {listened} stops; the protocol asks for at least {wanted}.",
      "listened",
    ],
    [
      "If you surveyed more stops, add them.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "stop-left-blank": [
    "You left {stops} blank. A blank stop counts as not surveyed, not as silent.",
    ["If no one listened there, mark it as skipped and say why."],
  ],
  "stops-out-of-order": [
    "By their times, you surveyed the stops in the order {order}; the protocol asks for the order of" +
      " their numbers.",
    [
      "Check the times and the numbers of the stops.",
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
  "stops-too-close": [
    "Stops {nearest} and {stop} are {distance} apart; the protocol asks for {wanted}, so that you do" +
      " not hear the same callers twice.",
    ["Nothing to fix in this visit.", "The coordinator can move a stop."],
  ],
  "time-on-another-night": [
    "{time} at stop {stop} belongs to the night of {night}, but this visit is for the night of " +
      "{visit_night}.",
    [
      "Correct the time or the date.",
      "A night lasts from noon to noon. Use the date on which the evening began.",
    ],
  ],
  "future-time": [
    "{time} at stop {stop} is in the future.",
    ["Check the date of the night, the time, and the clock of the phone."],
  ],
  "start-before-arrival": [
    "Listening at stop {stop} starts at {start}, before the arrival at {arrival}.",
    ["Correct one of the two times, or clear it if no one remembers."],
  ],
  "finish-before-start": [
    "Listening at stop {stop} ends at {end}, which is not after its start at {start}.",
    ["Correct one of the two times, or clear it if no one remembers."],
  ],
  "pause-longer-than-listening": [
    "The pause of {pause} at stop {stop} is longer than the time from start to end.",
    ["Correct the pause, the start or the end."],
  ],
  "pause-longer-than-listening.below-zero": [
    "The pause at stop {stop} is less than zero.",
    ["Correct the pause, the start or the end."],
  ],
  "stops-overlap": [
    "Stop {stop} starts at {start}, while listening at stop {busy} runs until {end}.",
    ["You cannot be at two stops at once. Correct a time, or clear it if no one remembers."],
  ],
  "impossible-drive": [
    "It is {distance} in a straight line from stop {from} to stop {to}, with only {between} between " +
      "the two: that would be faster than {fastest}.",
    [
      "Check the times and the numbers of the two stops.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
  ],
  "times-missing": [
    "Stop {stop} has no time for the {missing}, so we cannot check the times.",
    ["Write down the time, or mark the stop as skipped if no one listened."],
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
  "pause-not-restarted": [
    "You paused at stop {stop} for {pause}; the protocol asks you to start over after a loud event.",
    [
      "If you did start over, enter the times of the full listening period and no pause.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
    ],
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
  "sunset-unknown": [
    "The sunset at {stops} is not known yet, so we cannot check the hours.",
    ["Nothing to fix.", "The server calculates it once you send the visit."],
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
  "unknown-wind-force": [
    "There is no wind force {force} {place}.",
    ["Choose a force of the Beaufort scale, 0 to {last}.", "It is not a speed."],
  ],
  "index-impossible": [
    "{species} at stop {stop} has call index {index}, which is not on the scale.",
    ["Choose 0 (not heard), 1, 2 or 3 (full chorus).", "It is not a count."],
  ],
  "species-twice-at-stop": [
    "{species} is on the sheet more than once at stop {stop}.",
    ["Keep one of them: the highest call index you heard."],
  ],
  "calls-at-skipped-stop": [
    "Stop {stop} is marked as skipped, but has a call index for {species}.",
    ["If someone listened, mark the stop as surveyed.", "If not, clear the species."],
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
  "distance-not-asked": [
    "{species} at stop {stop} is marked near or far, but the protocol has no radius.",
    ["The call counts at any distance. You can leave the mark."],
  ],
  "species-off-checklist": [
    "{species} at stop {stop} is not on the checklist of this route, so nights without a record of " +
      "it do not count as zeros.",
    [
      "Check the species.",
      "A recording helps the coordinator to confirm it.",
      "If it is right, leave it as is. The coordinator will decide whether it counts.",
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
  "cell-unreadable.number": ["“{typed}” is not a number.", ["Write digits, such as 12 or 12.5."]],
  "cell-unreadable.integer": ["“{typed}” is not a whole number.", ["Write a whole number, such as 3."]],
  "cell-unreadable.temperature-unit": ["“{typed}” is not a unit of temperature.", ["Choose C or F."]],
  "cell-unreadable.rain-unit": ["“{typed}” is not a unit of rain.", ["Choose in or mm."]],
  "cell-unreadable.yes-no": ["“{typed}” is neither yes nor no.", ["Choose yes or no."]],
  "cell-unreadable.choice": ["“{typed}” is not one of the answers.", ["Choose {choices}."]],
  "cell-unreadable.clock": ["“{typed}” is not a clock time.", ["Write it as 9:14 pm or 21:14."]],
  "cell-unreadable.clock-hour": ["“{typed}” has an hour above 23.", ["Write it as 9:14 pm or 21:14."]],
  "cell-unreadable.clock-minute": [
    "“{typed}” has more than 59 minutes or seconds.",
    ["Check the digits.", "Write it as 9:14 pm or 21:14."],
  ],
  "cell-unreadable.clock-half": [
    "“{typed}” has am or pm, so the hour must be 1 to 12.",
    ["Write it as 9:14 pm or 21:14."],
  ],
  "cell-unreadable.instant": [
    "“{typed}” is not a date with a time.",
    ["Write a clock time such as 21:14, or a date with a time such as 2024-04-16T02:14:00Z."],
  ],
  "cell-unreadable.time-zone": [
    "“{typed}” does not say its time zone.",
    ["Write a clock time such as 21:14, or a date with a time such as 2024-04-16T02:14:00Z."],
  ],
  "cell-unreadable.index": [
    "“{typed}” for {species} at stop {stop} is not a call index.",
    [
      "Write 0, 1, 2 or 3, the highest you heard, or ? for “heard, not sure”.",
      "If your protocol has a listening radius, add near or far: 2 near.",
    ],
  ],
  "cell-out-of-range": [
    "“{typed}” is not between {low} and {high}.",
    ["Check the number, or clear the cell if no one knows."],
  ],
  "cell-out-of-range.only-low": [
    "“{typed}” is below {low}.",
    ["Check the number, or clear the cell if no one knows."],
  ],
  "cell-out-of-range.only-high": [
    "“{typed}” is above {high}.",
    ["Check the number, or clear the cell if no one knows."],
  ],
  "cell-out-of-range.temperature": [
    "{reading} is not a possible temperature.",
    ["Check the number, its sign and its unit (°C or °F)."],
  ],
  "cell-out-of-range.rain": [
    "“{typed}” is not between 0 and {most} {unit}.",
    ["Check the number and its unit (in or mm), or clear the cell if no one knows."],
  ],
  "cell-out-of-range.instant": [
    "“{typed}” is not between 1900 and 2199.",
    ["Write a clock time such as 21:14, or a date with a time such as 2024-04-16T02:14:00Z."],
  ],
  "cell-too-long": [
    [
      "The text has {length} character; the limit is {most}.",
      "The text has {length} characters; the limit is {most}.",
      "length",
    ],
    ["Shorten it, or move part of it to the notes."],
  ],
  "clock-repeated": [
    "The clocks went back that night, so {time} came twice.",
    ["Choose the first or the second time; clear the time if no one remembers."],
  ],
  "clock-skipped": [
    "The clocks went forward that night, so no clock showed {time}.",
    ["Write {later} if your watch was not changed yet, or {earlier} if you changed it too early."],
  ],
  "clock-by-day": ["“{typed}” is in the middle of the day.", ["If it was at night, write {other}."]],
  "status-unclear": [
    "Stop {stop} has entries, but is not marked as surveyed or skipped.",
    ["Mark the stop as surveyed or skipped."],
  ],
  "skipped-with-times": [
    "Stop {stop} is marked as skipped, but has listening times.",
    ["If someone listened, mark the stop as surveyed.", "If not, clear the times."],
  ],
  "skip-reason-missing": [
    "Stop {stop} was skipped without a reason.",
    ["Say why, so that others know whether they can use the stop."],
  ],
  "position-incomplete": [
    "The position measured at stop {stop} has only one of its two numbers.",
    ["Write both latitude and longitude, or clear both."],
  ],
  "cell-unknown": [
    "The sheet has no place for {cells}. What you typed is kept, but not used.",
    ["Nothing to fix, unless you meant it for another cell."],
  ],
  "cell-unknown.more": [
    [
      "The sheet has no place for {cells} and {more} more cell. What you typed is kept, but not used.",
      "The sheet has no place for {cells} and {more} more cells. What you typed is kept, but not used.",
      "more",
    ],
    ["Nothing to fix, unless you meant it for another cell."],
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

export const CELLS = {
  night: "Night",
  temperature_unit: "Temperature unit",
  second_member: "Second observer, a member",
  second_observer: "Second observer, a guest",
  notes: "Notes",
  rain_unit: "Rain unit",
  rain_48h: "Rain in the past 48 hours",
  status: "Surveyed or skipped",
  skip_reason: "Reason for skipping",
  arrived_at: "Arrival",
  started_at: "Start of the listening period",
  finished_at: "End of the listening period",
  paused_minutes: "Pause",
  air_temperature: "Air temperature",
  water_temperature: "Water temperature",
  beaufort: "Wind force",
  sky: "Sky",
  noise: "Noise",
  interrupted: "Interrupted",
  water_tonight: "Water level",
  note: "Note",
  latitude: "Latitude",
  longitude: "Longitude",
  accuracy_m: "Accuracy",
  stop: "Stop",
  species: "Species",
  life_stage: "Life stage",
  count: "Count",
  color_form: "Color form",
};
