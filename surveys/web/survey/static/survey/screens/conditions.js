// Weather, noise and water by quick pickers: one tap opens, one tap answers.
import { gettext } from "../language.js";
import { h, icon, setAttribute, setText } from "../dom.js";
import { model, ownFields, text } from "../model.js";
import { BEAUFORT, NOISE, SKY } from "../rules/codes.js";
import { stateOf } from "../sheet/texts.js";
import { fullWords, openPicker, shortWords } from "./conditions/pickers.js";

const WATER = [
  ["dry", gettext("Dry"), gettext("no standing water")],
  ["pools", gettext("Pools"), gettext("water in low spots only")],
  ["full", gettext("Full"), gettext("water up to its usual edge")],
  ["not_seen", gettext("Not seen"), gettext("you could not see the water")],
];
const YES_NO = [
  ["yes", gettext("Yes")],
  ["no", gettext("No")],
];
const MAX_FORCE = 7;
const protocol = () => model.version.protocol;
/** States in words, with the code of the protocol in front where it has one. */
const stateOptions = (states, codes) =>
  states.map(([key, name, sign]) => {
    const own = Object.keys(codes).filter((code) => codes[code] === key);
    return [key, own.length ? `${own.join(", ")} · ${gettext(name)}` : gettext(name), gettext(sign)];
  });
const forceOptions = () =>
  BEAUFORT.slice(0, MAX_FORCE).map(([force, name, sign]) => [
    String(force),
    `${force} ${gettext(name)}`,
    gettext(sign),
  ]);

const FIELDS = {
  air_temperature: {
    label: gettext("Air"),
    title: gettext("Air temperature"),
    icon: "temperature",
    kind: "temperature",
  },
  water_temperature: {
    label: gettext("Water temp."),
    title: gettext("Water temperature"),
    icon: "temperature",
    kind: "temperature",
  },
  beaufort: {
    label: gettext("Wind"),
    title: gettext("Wind, Beaufort force"),
    icon: "wind",
    options: forceOptions,
    brief: true,
  },
  sky: {
    label: gettext("Sky"),
    title: gettext("Sky"),
    icon: "night",
    options: () => stateOptions(SKY, protocol().sky_codes),
    read: (typed) => stateOf(typed, SKY, protocol().sky_codes),
  },
  noise: {
    label: gettext("Noise"),
    title: gettext("How noise affects hearing"),
    icon: "ear",
    options: () => stateOptions(NOISE, protocol().noise_codes),
    read: (typed) => stateOf(typed, NOISE, protocol().noise_codes),
  },
  water_tonight: {
    label: gettext("Water level"),
    title: gettext("Water level at the stop"),
    icon: "water",
    options: () => WATER,
  },
  note: { label: gettext("Note"), title: gettext("Note"), icon: "draft", kind: "text" },
};
export const AT_STOP = ["beaufort", "sky", "noise", "water_tonight"];
export const AT_ENDS = ["air_temperature", "beaufort", "sky"];

const KINDS = { number: "decimal", whole: "count" };

/** Own fields of the program, asked per `visit` or `stop`, as others of this list. */
export const ownNames = (per) =>
  ownFields().flatMap((field) => (field.per === per ? `own.${field.key}` : []));

function ownField(name) {
  const field = ownFields().find(({ key }) => name === `own.${key}`);
  if (!field) return null;
  const { label, kind, choices } = field;
  const options = kind === "yes_no" ? YES_NO : choices;
  return {
    ...field,
    title: label,
    icon: "draft",
    ...(options.length ? { kind: "", options: () => options } : { kind: KINDS[kind] ?? "text" }),
  };
}

/** What a cell of this name holds; null where the phone asks for it in another way. */
export const fieldOf = (name) => FIELDS[name] ?? ownField(name);

/** Buttons for `names` under `prefix`, such as `stops.3.` or `start.`. */
export function conditions(app, prefix, names, title, id) {
  const tiles = names.map((name) => tile(app, prefix + name, fieldOf(name)));
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
    setAttribute(
      node,
      "aria-label",
      `${field.title}: ${typed ? fullWords(typed, field) : gettext("nothing yet")}`,
    );
  };
  return { node, update };
}
