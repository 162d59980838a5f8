// Weather, noise and water by quick pickers: one tap opens, one tap answers.
import { h, icon, setAttribute, setText } from "../dom.js";
import { model, text } from "../model.js";
import { BEAUFORT, NOISE_INDEX, SKY_CODES } from "../rules/codes.js";
import { fullWords, openPicker, shortWords } from "./conditions/pickers.js";

const WATER = [
  ["dry", "Dry"],
  ["pools", "Pools"],
  ["full", "Full"],
  ["not_seen", "Not seen"],
];
const YES_NO = [
  ["yes", "Yes"],
  ["no", "No"],
];
const MAX_FORCE = 7;
const codeOptions = (codes) => [...codes].map(([code, sign]) => [String(code), `${code}`, sign]);
const forceOptions = () =>
  BEAUFORT.slice(0, MAX_FORCE).map(([force, name, sign]) => [String(force), `${force} ${name}`, sign]);

const FIELDS = {
  air_temperature: { label: "Air", title: "Air temperature", icon: "temperature", kind: "temperature" },
  water_temperature: { label: "Water", title: "Water temperature", icon: "temperature", kind: "temperature" },
  beaufort: { label: "Wind", title: "Wind, Beaufort force", icon: "wind", options: forceOptions },
  sky: { label: "Sky", title: "Sky", icon: "night", options: () => codeOptions(SKY_CODES) },
  noise_index: { label: "Noise", title: "Noise", icon: "ear", options: () => codeOptions(NOISE_INDEX) },
  cars: { label: "Cars", title: "Cars that passed", icon: "car", kind: "count" },
  water_tonight: { label: "Pond", title: "Water at the stop tonight", icon: "water", options: () => WATER },
  moonlight: { label: "Moon", title: "Moonlight", icon: "tonight", options: () => YES_NO },
  note: { label: "Note", title: "Note", icon: "draft", kind: "text" },
};
export const AT_STOP = [
  "air_temperature",
  "beaufort",
  "sky",
  "noise_index",
  "cars",
  "water_tonight",
  "moonlight",
  "note",
];
export const AT_ENDS = ["air_temperature", "beaufort", "sky"];

/** Buttons for `names` under `prefix`, such as `stops.3` or `start`. */
export function conditions(app, prefix, names, title, id) {
  const tiles = names.map((name) => tile(app, `${prefix}.${name}`, FIELDS[name]));
  const node = h(
    "section",
    { "aria-labelledby": id },
    h("h2", { id }, title),
    h(
      "div",
      { class: "tiles" },
      tiles.map(({ node }) => node),
    ),
  );
  return { node, update: () => tiles.forEach((tile) => tile.update()) };
}

export function waterMatters() {
  return model.version.protocol.windows.some((window) => window.min_water_temperature);
}

function tile(app, address, field) {
  const value = h("span", { class: "tile__value" });
  const node = h(
    "button",
    { type: "button", class: "tile", "data-cell": address, onclick: () => openPicker(app, address, field) },
    icon(field.icon),
    h("span", { class: "tile__label" }, field.label),
    value,
  );
  const update = () => {
    const typed = text(address);
    setText(value, shortWords(typed, field));
    setAttribute(node, "data-empty", typed ? null : "yes");
    setAttribute(node, "aria-label", `${field.title}: ${typed ? fullWords(typed, field) : "nothing yet"}`);
  };
  return { node, update };
}
