// The form of a question: one species, several, or a call index.
import { button, h, setText } from "../../dom.js";
import { gettext } from "../../language.js";
import { WHICH_INDEX, WHICH_OF_THESE } from "../../practice/questions.js";

export const INDEX_WORDS = {
  1: gettext("One male (call index 1)"),
  2: gettext("A few that overlap (call index 2)"),
  3: gettext("Full chorus (call index 3)"),
};
const NOTHING = gettext("Choose an answer first.");

/** `answer(named)` gets the species that were named, each with its index or null. */
export function answerForm(question, names, answer, another) {
  const isSeveral = question.kind === WHICH_OF_THESE;
  const fault = h("p", { class: "field__error", role: "alert", id: "practice-fault" });
  const inputs = choicesOf(question, names).map(([value, words]) => {
    const id = `practice-${value}`;
    const type = isSeveral ? "checkbox" : "radio";
    return [h("input", { type, name: "practice", id, value }), words];
  });
  const form = h(
    "form",
    { novalidate: true, onsubmit: submit },
    h(
      "fieldset",
      { class: "field", "aria-describedby": "practice-fault" },
      h("legend", null, asked(question, names)),
      fault,
      inputs.map(([input, words]) => h("label", { class: "choice", for: input.id }, input, words)),
    ),
    h(
      "div",
      { class: "actions" },
      h("button", { class: "btn btn--primary" }, gettext("Answer")),
      button(gettext("Another question"), another, { kind: "quiet" }),
    ),
  );

  function submit(event) {
    event.preventDefault();
    const chosen = inputs.filter(([input]) => input.checked).map(([input]) => input.value);
    setText(fault, chosen.length ? "" : NOTHING);
    if (!chosen.length) return inputs[0][0].focus();
    const [only] = question.choices;
    if (question.kind === WHICH_INDEX) return answer({ [only]: Number(chosen[0]) });
    return answer(Object.fromEntries(chosen.map((species) => [species, null])));
  }
  return form;
}

function asked({ kind, choices }, names) {
  if (kind === WHICH_INDEX)
    return gettext("What is the call index of {species}?", { species: names.get(choices[0]) });
  if (kind === WHICH_OF_THESE) return gettext("Which of these call? Check each one that you hear.");
  return gettext("Which species calls?");
}

const choicesOf = ({ kind, choices }, names) =>
  kind === WHICH_INDEX ? Object.entries(INDEX_WORDS) : choices.map((code) => [code, names.get(code)]);
