// Written by deploy/generate. Do not edit.
export const BEAUFORT = [
  [0, "calm", "smoke goes straight up"],
  [1, "light air", "smoke leans, vanes do not move"],
  [2, "light breeze", "felt on the face, leaves rustle"],
  [3, "gentle breeze", "leaves and small twigs never still"],
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

export const SKY_CODES = new Map([
  [0, "clear, or a few clouds"],
  [1, "scattered or changing clouds"],
  [2, "overcast"],
  [4, "fog or smoke"],
  [5, "drizzle or light rain that does not harm hearing"],
  [7, "snow"],
  [8, "showers that harm hearing"],
]);

export const NOISE_INDEX = new Map([
  [0, "nothing that matters"],
  [1, "slight: distant traffic, a dog, one car"],
  [2, "moderate: two to five cars"],
  [3, "serious: steady traffic near by, six to ten cars"],
  [4, "profound: unbroken traffic or machinery"],
]);

export const CALL_INDEX = new Map([
  [0, "listened for, not heard"],
  [1, "single callers, with silence between calls; they can be counted"],
  [2, "some calls overlap; single callers can still be told apart"],
  [3, "full chorus without a break; single callers cannot be separated"],
]);
