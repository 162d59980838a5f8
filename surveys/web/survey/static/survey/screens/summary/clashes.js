// Cells that were changed here and elsewhere: both texts are kept until somebody chooses.
import { gettext } from "../../language.js";
import { button, h } from "../../dom.js";
import { conflicts } from "../../model.js";
import { choose } from "../../store.js";
import { allSpecies } from "../calls/species.js";
import { fieldOf } from "../conditions.js";
import { shortWords } from "../conditions/pickers.js";
import { companionName } from "./companion.js";
import { clockText } from "./facts.js";
import { INSTANT, TIMES } from "./times.js";

const BLANK = gettext("(blank)");
const PARTS = { start: gettext("Weather at the start"), end: gettext("Weather at the end") };
const NAMES = {
  notes: gettext("Notes on the evening"),
  night: gettext("Night"),
  rain_48h: gettext("Rain in the past 48 hours"),
  second_member: gettext("Second observer, a member"),
  second_observer: gettext("Second observer, a guest: name"),
  status: gettext("Surveyed or skipped"),
  skip_reason: gettext("Why it was skipped"),
  arrived_at: gettext("Arrived"),
  started_at: gettext("Listening from"),
  finished_at: gettext("Listening to"),
};

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

/** `own.salinity` of `stops.3.own.salinity`, `sky` of `start.sky`. */
const nameOf = (address) => address.match(/(own\.)?[^.]+$/)[0];

function shown(address, text) {
  if (text === "") return BLANK;
  if (address === "second_member") return companionName(text);
  if (TIMES.test(address) && INSTANT.test(text)) return clockText(text);
  const field = fieldOf(nameOf(address));
  return field?.options ? shortWords(text, field) : text;
}

const capital = (words) => words.charAt(0).toUpperCase() + words.slice(1);

function label(address) {
  const [part, stop] = address.split(".");
  const name = nameOf(address);
  const species = allSpecies().find(({ code }) => code === name);
  const plain = capital(name.replaceAll(/[._-]/g, " "));
  const what = NAMES[name] ?? fieldOf(name)?.title ?? species?.common_name ?? plain;
  return [PARTS[part] ?? (part === "stops" && gettext("Stop {stop}", { stop })), what]
    .filter(Boolean)
    .join(": ");
}
