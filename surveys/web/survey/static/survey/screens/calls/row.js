// A species as a big button: each tap raises the call index.
import { h, icon, setAttribute, setText } from "../../dom.js";
import { gettext } from "../../language.js";
import { isDescribed, showDescription } from "./description.js";
import { callOf } from "../../rules/case.js";
import { DISTANCES, indexWords, isHeard, isIndexed, NOT_SURE, shortHint } from "./species.js";

const NEXT = { "": "1", 0: "1", 1: "2", 2: "3", 3: "", [NOT_SURE]: "1" };

/**
 * `typed()` is what is written of the species at this stop, `set(text)` writes it, `group()` is what
 * other entries of its group say of it. With a `radius`, a call is near or far.
 */
export function callRow(species, typed, set, group, radius) {
  const mark = h("span", { class: "ci ci--large", "aria-hidden": "true" });
  const hint = h("span", { class: "calls__hint" });
  const name = h("span", { class: "calls__name" }, species.common_name);
  const main = h(
    "button",
    {
      type: "button",
      class: "calls__tap",
      "data-species": species.code,
      onclick: () => {
        const { index, distance } = callOf(typed());
        set(written(NEXT[index] ?? "1", distance));
      },
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
      onclick: () => set(callOf(typed()).index === NOT_SURE ? "" : NOT_SURE),
    },
    NOT_SURE,
  );

  const where = radius ? whereButtons(species, typed, set) : null;

  function update() {
    const text = typed();
    const { index } = callOf(text);
    const level = index === NOT_SURE ? "not-sure" : isHeard(index) ? index : "0";
    setAttribute(mark, "class", `ci ci--large ci--${level}`);
    setText(mark, isHeard(index) ? index : "–");
    where?.update();
    const words = isIndexed(text) ? shortHint(text) : group();
    setText(hint, words || species.scientific_name);
    setAttribute(hint, "class", words ? "calls__hint" : "calls__hint species");
    setAttribute(main, "aria-label", `${species.common_name}: ${group() || indexWords(text)}`);
    setAttribute(unsure, "aria-pressed", String(index === NOT_SURE));
  }
  const aside = h("div", { class: "calls__aside" }, unsure, aboutButton(species));
  return { node: h("li", { class: "calls__row" }, main, aside, where?.node), update };
}

const written = (index, distance) => (index && distance ? `${index} ${distance}` : index);

/** Near or far, once there is a call. */
function whereButtons(species, typed, set) {
  const buttons = Object.entries(DISTANCES).map(([key, word]) => {
    const press = () => {
      const { index, distance } = callOf(typed());
      set(written(index, distance === key ? "" : key));
    };
    return [key, h("button", { type: "button", class: "btn", onclick: press }, word)];
  });
  const node = h(
    "div",
    { class: "calls__where", role: "group", "aria-label": species.common_name },
    buttons.map(([, button]) => button),
  );
  function update() {
    node.hidden = !isIndexed(typed());
    const { distance } = callOf(typed());
    for (const [key, button] of buttons) setAttribute(button, "aria-pressed", String(key === distance));
  }
  return { node, update };
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
