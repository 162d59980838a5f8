// The times of a stop, to be put right by hand. What is typed is the cell's text; the phone's own
// instants stay as they are until somebody types over them.
import { gettext } from "../language.js";
import { instantsOf } from "../clocktimes.js";
import { h } from "../dom.js";
import { model, stopText, stopTime, writeStop } from "../model.js";
import { fieldTime } from "../rules/words.js";

const TIMES = [
  ["arrived_at", gettext("Arrived")],
  ["started_at", gettext("Listening from")],
  ["finished_at", gettext("Listening to")],
];
const FOLDS = [
  ["first", gettext("the first time")],
  ["second", gettext("the second time")],
];

export function timeFields(app, number) {
  const rows = TIMES.map(([name, label]) => timeField(app, number, name, label));
  const node = h(
    "div",
    null,
    h(
      "p",
      { class: "small muted" },
      gettext("Local time at the route, {replace_all}.", {
        replace_all: model.route.time_zone.replaceAll("_", " "),
      }),
    ),
    rows.map(({ node }) => node),
  );
  return { node, update: () => rows.forEach((row) => row.update()) };
}

function timeField(app, number, name, label) {
  const typed = stopText(number);
  const id = `time-${name}`;
  const input = h("input", { id, type: inputType(), step: 1, autocomplete: "off", onchange: save });
  const folds = FOLDS.map(([fold, words]) =>
    h(
      "label",
      { class: "choice", for: `${id}-${fold}` },
      h("input", {
        type: "radio",
        name: `${id}-fold`,
        id: `${id}-${fold}`,
        value: fold,
        onchange: () => writeStop(number, { [`${name}.fold`]: fold }),
      }),
      words,
    ),
  );
  const foldChoice = h(
    "fieldset",
    { class: "field" },
    h("legend", null, gettext("The clocks went back, so this time came twice. Which one was it?")),
    folds,
  );
  const node = h(
    "div",
    null,
    h("div", { class: "field" }, h("label", { for: id }, label), input),
    foldChoice,
  );

  /** A time that no clock shows is mended as text, or it could not be seen. */
  function inputType() {
    return typed(name) && stopTime(number)(name) === null && !isTwice() ? "text" : "time";
  }

  function isTwice() {
    return instantsOf(typed(name), model.visit.night, model.route.time_zone).length > 1;
  }

  async function save() {
    if (input.validity.badInput) return;
    const fold =
      instantsOf(input.value, model.visit.night, model.route.time_zone).length > 1
        ? typed(`${name}.fold`)
        : "";
    await writeStop(number, { [name]: input.value, [`${name}.fold`]: fold });
    app.say(`${label} ${input.value || gettext("cleared")}`);
  }

  function update() {
    foldChoice.hidden = !isTwice();
    for (const radio of foldChoice.querySelectorAll("input"))
      radio.checked = radio.value === typed(`${name}.fold`);
    if (document.activeElement === input) return;
    input.type = inputType();
    const instant = stopTime(number)(name);
    input.value =
      input.type === "text" || instant === null
        ? clockText(typed(name))
        : fieldTime(instant, model.route.time_zone);
  }
  update();
  return { node, update };
}

/** A time that came twice has no instant yet, but its digits can be shown. */
const clockText = (text) => (/^\d:\d\d/.test(text) ? `0${text}` : text);
