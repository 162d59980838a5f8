// Cells that were changed here and elsewhere: both texts are kept until somebody chooses.
import { gettext } from "../../language.js";
import { button, h } from "../../dom.js";
import { conflicts } from "../../model.js";
import { choose } from "../../store.js";
import { clockText } from "./facts.js";
import { INSTANT, TIMES } from "./times.js";

const BLANK = "(blank)";

export function clashes() {
  const node = h("div");

  function update() {
    const cells = conflicts();
    const key = JSON.stringify(cells);
    if (node.dataset.key === key) return;
    node.dataset.key = key;
    node.replaceChildren(...(cells.length ? [section(cells)] : []));
  }
  return { node, update };
}

function section(cells) {
  return h(
    "section",
    { "aria-labelledby": "clash-title" },
    h("h2", { id: "clash-title" }, gettext("Changed in two places")),
    h("p", null, gettext("Both texts are kept until you choose.")),
    h("ul", { class: "plain-list" }, cells.map(row)),
  );
}

function row(cell) {
  return h(
    "li",
    null,
    h(
      "fieldset",
      { class: "group" },
      h("legend", null, label(cell.address)),
      side(cell, gettext("Keep mine"), cell.text),
      side(cell, gettext("Use the other"), cell.theirs),
    ),
  );
}

function side({ visit, address }, words, text) {
  const pick = () => choose(visit, address, text);
  return button(`${words}: ${shown(address, text)}`, pick, { kind: "block" });
}

function shown(address, text) {
  if (text === "") return BLANK;
  return TIMES.test(address) && INSTANT.test(text) ? clockText(text) : text;
}

const capital = (words) => words.charAt(0).toUpperCase() + words.slice(1);

function label(address) {
  const [part, number, ...rest] = address.split(".");
  if (part !== "stops") return capital(address.replaceAll(/[._]/g, " "));
  return gettext("Stop {number}: {rest}", { number, rest: rest.join(" ").replaceAll(/[_-]/g, " ") });
}
