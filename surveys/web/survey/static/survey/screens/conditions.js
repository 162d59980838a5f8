// Weather, noise and water by quick pickers: one tap opens, one tap answers.
import { button, dialog, h, icon, setAttribute, setText } from "../dom.js";
import { model, onChange, text, undo, write } from "../model.js";
import { BEAUFORT, NOISE_INDEX, SKY_CODES } from "../rules/codes.js";

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
const MOST_FORCE = 7;
const coded = (codes) => [...codes].map(([code, sign]) => [String(code), `${code}`, sign]);
const forces = () =>
  BEAUFORT.slice(0, MOST_FORCE).map(([force, name, sign]) => [String(force), `${force} ${name}`, sign]);

const FIELDS = {
  air_temperature: { label: "Air", title: "Air temperature", icon: "temperature", kind: "temperature" },
  water_temperature: { label: "Water", title: "Water temperature", icon: "temperature", kind: "temperature" },
  beaufort: { label: "Wind", title: "Wind, Beaufort force", icon: "wind", options: forces },
  sky: { label: "Sky", title: "Sky", icon: "night", options: () => coded(SKY_CODES) },
  noise_index: { label: "Noise", title: "Noise", icon: "ear", options: () => coded(NOISE_INDEX) },
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
  const tiles = names.map((name) => tile(app, `${prefix}.${name}`, FIELDS[name], title));
  const node = h(
    "section",
    { "aria-labelledby": id },
    h("h2", { id }, title),
    h(
      "div",
      { class: "tiles" },
      tiles.map((one) => one.node),
    ),
  );
  return { node, update: () => tiles.forEach((one) => one.update()) };
}

export function waterMatters() {
  return model.version.protocol.windows.some((window) => window.min_water_temperature);
}

function tile(app, address, field, where) {
  const value = h("span", { class: "tile__value" });
  const node = h(
    "button",
    { type: "button", class: "tile", "data-cell": address, onclick: () => open(app, address, field, where) },
    icon(field.icon),
    h("span", { class: "tile__label" }, field.label),
    value,
  );
  const update = () => {
    const typed = text(address);
    setText(value, shown(typed, field));
    setAttribute(node, "data-empty", typed ? null : "yes");
    setAttribute(node, "aria-label", `${field.title}: ${typed ? spoken(typed, field) : "nothing yet"}`);
  };
  return { node, update };
}

function shown(typed, field) {
  if (!typed) return "–";
  if (field.kind === "temperature") return `${typed}°`;
  if (field.kind === "text") return typed.length > 8 ? `${typed.slice(0, 7)}…` : typed;
  const option = field.options?.().find(([code]) => code === typed);
  return option && option.length === 2 ? option[1] : typed;
}

function spoken(typed, field) {
  if (field.kind === "temperature") return `${typed} degrees`;
  const option = field.options?.().find(([code]) => code === typed);
  return option ? option.slice(1).join(", ") : typed;
}

function open(app, address, field, where) {
  if (field.options) return choose(app, address, field, where);
  return { temperature: degrees, count, text: words }[field.kind](app, address, field, where);
}

async function set(app, address, field, typed) {
  await write({ [address]: typed });
  app.snack(typed ? `${field.title}: ${spoken(typed, field)}` : `${field.title}: cleared`, undo);
}

const heading = (field, where) => (where === field.title ? where : `${field.title}`);

function choose(app, address, field, where) {
  const now = text(address);
  const pick = (code) => () => {
    box.close();
    set(app, address, field, code);
  };
  const options = field.options().map(([code, name, sign]) =>
    h(
      "li",
      null,
      h(
        "button",
        {
          type: "button",
          class: "btn btn--block pick",
          "aria-pressed": String(code === now),
          onclick: pick(code),
        },
        h("strong", null, name),
        sign && h("span", null, sign),
      ),
    ),
  );
  const box = dialog(
    heading(field, where),
    h("ul", { class: "plain-list picks" }, options),
    now && button("Clear", pick(""), { kind: "quiet" }),
  );
}

/** Up and down from the last reading of the evening; or typed. */
function degrees(app, address, field) {
  const unit = text("temperature_unit") || model.route.temperature_unit;
  const name = address.split(".").at(-1);
  const start = () => text(address) || lastReading(name) || (unit === "F" ? "50" : "10");
  const input = h("input", {
    type: "text",
    inputmode: "decimal",
    id: "degrees",
    "data-typed": address,
    class: "big-number",
    value: text(address),
    oninput: () => write({ [address]: input.value.trim() }),
  });
  const step = (by) => () => {
    const next = text(address) ? Number(start().replace(",", ".")) + by : Number(start().replace(",", "."));
    input.value = String(Math.round(next * 10) / 10);
    write({ [address]: input.value });
    app.say(`${input.value} degrees`);
  };
  const steps = [
    [-1, "−1"],
    [-0.5, "−½"],
    [0.5, "+½"],
    [1, "+1"],
  ];
  dialog(
    field.title,
    h("div", { class: "field" }, h("label", { for: "degrees" }, `${field.title} in °${unit}`), input),
    h(
      "div",
      { class: "steps" },
      steps.map(([by, words_]) =>
        h(
          "button",
          {
            type: "button",
            class: "btn btn--large",
            "aria-label": `${by > 0 ? "up" : "down"} ${Math.abs(by)}`,
            onclick: step(by),
          },
          words_,
        ),
      ),
    ),
    h(
      "p",
      { class: "small muted" },
      lastReading(name)
        ? `The first tap gives the last reading, ${lastReading(name)}°.`
        : "Hold the thermometer away from the car and from your hand.",
    ),
    button(
      "Clear",
      () => {
        input.value = "";
        write({ [address]: "" });
      },
      { kind: "quiet" },
    ),
  );
}

/** The latest reading of the same kind at another place of the sheet. */
function lastReading(name) {
  const places = [...model.stops.map(({ number }) => `stops.${number}`).reverse(), "start"];
  return places.map((place) => text(`${place}.${name}`)).find(Boolean) ?? "";
}

function count(app, address, field) {
  const output = h("output", { class: "big-number" }, text(address) || "0");
  const step = (by) => () => {
    const next = Math.max(0, (Number(text(address)) || 0) + by);
    setText(output, String(next));
    write({ [address]: String(next) });
    app.say(`${next}`);
  };
  dialog(
    field.title,
    output,
    h(
      "div",
      { class: "steps" },
      h(
        "button",
        { type: "button", class: "btn btn--large", "aria-label": "one less", onclick: step(-1) },
        "−1",
      ),
      h(
        "button",
        { type: "button", class: "btn btn--large btn--primary", "aria-label": "one more", onclick: step(1) },
        "+1",
      ),
    ),
    button(
      "None passed",
      () => {
        setText(output, "0");
        write({ [address]: "0" });
      },
      { kind: "block" },
    ),
    button(
      "Clear",
      () => {
        setText(output, "0");
        write({ [address]: "" });
      },
      { kind: "quiet" },
    ),
  );
}

function words(_app, address, field) {
  dialog(field.title, textBox(address, "Written as you type"));
}

/** A box whose every letter is a cell at once. */
export function textBox(address, label, { rows = 4 } = {}) {
  const id = `cell-${address}`;
  const tag = rows > 1 ? "textarea" : "input";
  const box = h(tag, {
    id,
    "data-typed": address,
    ...(rows > 1 ? { rows } : { type: "text", autocomplete: "off" }),
    oninput: () => write({ [address]: box.value }, { undo: false }),
  });
  box.value = text(address);
  return h("div", { class: "field" }, h("label", { for: id }, label), box);
}

// A box follows its cell: what another tab or phone wrote there must not be overwritten unseen.
onChange(() => {
  for (const box of document.querySelectorAll("[data-typed]")) {
    const typed = text(box.dataset.typed);
    if (box.value !== typed && box.value.trim() !== typed) box.value = typed;
  }
});
