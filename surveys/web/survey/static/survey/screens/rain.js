// Rain before the visit: asked once, before the first stop; "do not know" is an answer.
import { gettext } from "../language.js";
import { button, h, setText } from "../dom.js";
import { model, stopText, text, undo, write } from "../model.js";

const CELL = "rain_48h";
// As the sheet reads them: a dash is missing, T is a trace.
const UNKNOWN = "-";
const TRACE = "T";
const UNIT_NAMES = { in: gettext("inches"), mm: "mm" };

const unit = () => text("rain_unit") || model.route.rain_unit || "mm";

/** What was answered, in words; empty before the question is answered. */
function answer() {
  const typed = text(CELL).trim();
  if (!typed) return "";
  if (typed === UNKNOWN) return gettext("not known");
  if (typed.toUpperCase() === TRACE) return gettext("a trace");
  if (Number(typed.replace(",", ".")) === 0) return gettext("none");
  return /[a-z"]/i.test(typed) ? typed : `${typed} ${unit()}`;
}

const begun = () => model.stops.some(({ number }) => stopText(number)("arrived_at"));

/** The question, open until it is answered or the first stop is begun; then one line to change it. */
export function rainQuestion(app) {
  const summary = h("summary", { id: "rain-title" });
  const input = h("input", {
    type: "text",
    inputmode: "decimal",
    id: "rain",
    autocomplete: "off",
    "data-typed": CELL,
    oninput: () => write({ [CELL]: input.value.trim() }),
  });
  input.value = text(CELL);
  const pick = (typed, words) => async () => {
    node.open = false;
    await write({ [CELL]: typed });
    app.snack(gettext("Rain in the past 48 hours: {words}", { words }), undo);
  };
  const choice = (typed, label, words) => button(label, pick(typed, words), { kind: "block" });
  const node = h(
    "details",
    { class: "panel", open: !answer() && !begun() },
    summary,
    h(
      "div",
      { class: "actions" },
      choice("0", gettext("No rain"), gettext("none")),
      choice(TRACE, gettext("A trace, too little to measure"), gettext("a trace")),
      choice(UNKNOWN, gettext("Do not know"), gettext("not known")),
    ),
    h(
      "div",
      { class: "field" },
      h(
        "label",
        { for: "rain" },
        gettext("Amount in {unit_names}, from a rain gauge or a weather station", {
          unit_names: UNIT_NAMES[unit()],
        }),
      ),
      input,
    ),
  );
  const update = () =>
    setText(
      summary,
      gettext("Rain in the past 48 hours: {answer}", { answer: answer() || gettext("no answer yet") }),
    );
  return { node, update };
}
