// Dialogs that fill a cell with one tap: an option, a temperature, a count, a text; and the words for
// what was filled in.
import { gettext } from "../../language.js";
import { button, dialog, h } from "../../dom.js";
import { model, text, undo, write } from "../../model.js";
import { textBox } from "../textbox.js";

/** Open the dialog that fills the cell at `address`. */
export function openPicker(app, address, field) {
  if (field.options) return pickOption(app, address, field);
  const pickers = { temperature: pickTemperature, count: pickCount, text: typeText, decimal: typeText };
  return pickers[field.kind](app, address, field);
}

async function fill(app, address, field, typed) {
  await write({ [address]: typed });
  app.snack(
    typed
      ? `${field.title}: ${fullWords(typed, field)}`
      : gettext("{title}: cleared", { title: field.title }),
    undo,
  );
}

function pickOption(app, address, field) {
  const current = optionOf(text(address), field)?.[0];
  const pick = (code) => () => {
    box.close();
    fill(app, address, field, code);
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
          "aria-pressed": String(code === current),
          onclick: pick(code),
        },
        h("strong", null, name),
        sign && h("span", null, sign),
      ),
    ),
  );
  const box = dialog(
    field.title,
    helpOf(field),
    h("ul", { class: "plain-list picks" }, options),
    text(address) && button(gettext("Clear"), pick(""), { kind: "quiet" }),
  );
}

/** Up and down from the last reading of the evening; or typed. */
function pickTemperature(app, address, field) {
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
    app.say(gettext("{number} degrees", { number: input.value }));
  };
  dialog(
    field.title,
    h(
      "div",
      { class: "field" },
      h("label", { for: "degrees" }, gettext("{title} in °{unit}", { title: field.title, unit })),
      input,
    ),
    stepButtons(step, [
      [-1, "−1"],
      [-0.5, "−½"],
      [0.5, "+½"],
      [1, "+1"],
    ]),
    h(
      "p",
      { class: "small muted" },
      lastReading(name)
        ? gettext("The first tap fills in the last reading, {last_reading}°.", {
            last_reading: lastReading(name),
          })
        : gettext("Hold the thermometer away from the car and from your hand."),
    ),
    button(
      gettext("Clear"),
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

const helpOf = ({ help, unit }) => (help || unit) && h("p", null, [help, unit].filter(Boolean).join(" · "));

function pickCount(app, address, field) {
  const output = textBox(address, field.title, { rows: 1, inputmode: "numeric" });
  const step = (by) => () => {
    const next = String((Number(text(address)) || 0) + by);
    write({ [address]: next });
    app.say(next);
  };
  dialog(
    field.title,
    helpOf(field),
    output,
    stepButtons(step, [
      [-1, "−1"],
      [1, "+1"],
    ]),
    button("0", () => write({ [address]: "0" }), { kind: "block" }),
    button(gettext("Clear"), () => write({ [address]: "" }), { kind: "quiet" }),
  );
}

const stepButtons = (step, steps) =>
  h(
    "div",
    { class: "steps" },
    steps.map(([by, label]) =>
      h(
        "button",
        {
          type: "button",
          class: "btn btn--large",
          "aria-label":
            by > 0 ? gettext("up {number}", { number: by }) : gettext("down {number}", { number: -by }),
          onclick: step(by),
        },
        label,
      ),
    ),
  );

function typeText(_app, address, field) {
  const options = field.kind === "decimal" ? { rows: 1, inputmode: "decimal" } : {};
  dialog(field.title, helpOf(field), textBox(address, gettext("Saved as you type"), options));
}

/** What was typed, as its tile shows it. */
export function shortWords(typed, field) {
  if (!typed) return "–";
  if (field.kind === "temperature") return `${typed}°`;
  if (field.kind === "text") return typed.length > 8 ? `${typed.slice(0, 7)}…` : typed;
  return field.brief ? typed : (optionOf(typed, field)?.[1] ?? typed);
}

/** What was typed, as it is spoken. */
export function fullWords(typed, field) {
  if (field.kind === "temperature") return gettext("{number} degrees", { number: typed });
  return optionOf(typed, field)?.slice(1).join(", ") ?? typed;
}

/** The option that a cell holds: by its key, or as somebody typed it at a desk. */
function optionOf(typed, field) {
  const key = field.read?.(typed) ?? typed;
  return field.options?.().find(([code]) => code === key);
}
