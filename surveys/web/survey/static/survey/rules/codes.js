// Written by deploy/generate. Do not edit.
export const BEAUFORT = [
  [0, "calm", "smoke goes straight up"],
  [1, "light air", "smoke drifts, weather vanes do not move"],
  [2, "light breeze", "felt on the face, leaves rustle"],
  [3, "gentle breeze", "leaves and small twigs move all the time"],
  [4, "moderate breeze", "dust and paper lift, small branches move"],
  [5, "fresh breeze", "small trees in leaf sway"],
  [6, "strong breeze", "large branches move, wires hum"],
  [7, "near gale", "whole trees move, walking is hard work"],
  [8, "gale", "twigs break off, walking is slow"],
  [9, "strong gale", "roofs lose tiles"],
  [10, "storm", "trees are uprooted"],
  [11, "violent storm", "damage everywhere"],
  [12, "hurricane", "devastation"],
];

export const SKY = [
  ["clear", "clear", "open sky, at most a few clouds"],
  ["partly_cloudy", "partly cloudy", "clouds with open sky between"],
  ["overcast", "overcast", "cloud from edge to edge"],
  ["fog", "fog", "fog, mist or smoke hides distant lights"],
  ["drizzle", "drizzle", "fine drops without a sound"],
  ["light_rain", "light rain", "you hear calls through it"],
  ["heavy_rain", "heavy rain", "it drowns out calls"],
  ["snow", "snow", "snow or sleet"],
  ["thunder", "thunder", "thunder or lightning, near or far"],
];

export const NOISE = [
  ["quiet", "quiet", "nothing to listen through"],
  ["heard_through", "heard through", "noise, but no call is missed"],
  ["faint_lost", "faint calls lost", "soft and distant calls are lost"],
  ["loud_only", "only loud calls", "only near callers and loud choruses get through"],
  ["all_lost", "all calls lost", "the noise covers every call"],
];

export const CALL_INDEX = new Map([
  [0, "listened for, not heard"],
  [1, "single callers, with silence between calls; they can be counted"],
  [2, "some calls overlap; single callers can still be told apart"],
  [3, "full chorus without a break; single callers cannot be separated"],
]);
