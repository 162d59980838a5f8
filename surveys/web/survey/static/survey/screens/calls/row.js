// A species as a big button: each tap raises the call index.
import { h, icon, setAttribute, setText } from "../../dom.js";
import { gettext } from "../../language.js";
import { isDescribed, showDescription } from "./description.js";
import { indexWords, isHeard, isIndexed, NOT_SURE, shortHint } from "./species.js";

const NEXT = { "": "1", 0: "1", 1: "2", 2: "3", 3: "", [NOT_SURE]: "1" };

/**
 * `typed()` is what is written of the species at this stop, `set(text)` writes it, `group()` is what
 * other entries of its group say of it.
 */
export function callRow(species, typed, set, group) {
  const mark = h("span", { class: "ci ci--large", "aria-hidden": "true" });
  const hint = h("span", { class: "calls__hint" });
  const name = h("span", { class: "calls__name" }, species.common_name);
  const main = h(
    "button",
    {
      type: "button",
      class: "calls__tap",
      "data-species": species.code,
      onclick: () => set(NEXT[typed()] ?? "1"),
    },
    h("span", { class: "calls__names" }, name, hint),
    mark,
  );
  const unsure = h(
    "button",
    {
      type: "button",
      class: "calls__unsure",
      "aria-label": gettext("{common_name}: heard, but not sure", { common_name: species.common_name }),
      onclick: () => set(typed() === NOT_SURE ? "" : NOT_SURE),
    },
    NOT_SURE,
  );

  function update() {
    const text = typed();
    const level = text === NOT_SURE ? "not-sure" : isHeard(text) ? text : "0";
    setAttribute(mark, "class", `ci ci--large ci--${level}`);
    setText(mark, isHeard(text) ? text : "–");
    const words = isIndexed(text) ? shortHint(text) : group();
    setText(hint, words || species.scientific_name);
    setAttribute(hint, "class", words ? "calls__hint" : "calls__hint species");
    setAttribute(main, "aria-label", `${species.common_name}: ${group() || indexWords(text)}`);
    setAttribute(unsure, "aria-pressed", String(text === NOT_SURE));
  }
  return { node: h("li", { class: "calls__row" }, main, unsure, aboutButton(species)), update };
}

function aboutButton(species) {
  if (!isDescribed(species)) return null;
  return h(
    "button",
    {
      type: "button",
      class: "calls__about",
      "aria-label": gettext("How it sounds: {species}", { species: species.common_name }),
      onclick: () => showDescription(species),
    },
    icon("ear"),
  );
}
