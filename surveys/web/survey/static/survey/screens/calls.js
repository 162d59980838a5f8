// The species of the night as big buttons: each tap raises the call index, 1, 2, 3, not heard.
import { gettext } from "../language.js";
import { button, h, setText } from "../dom.js";
import { model, stopText, undo, writeStop } from "../model.js";
import { distance } from "../rules/words.js";
import { callRow } from "./calls/row.js";
import { searchSpecies } from "./calls/search.js";
import {
  callWords,
  checklist,
  groupWords,
  indexWords,
  inSeason,
  isHeard,
  isIndexed,
  shortHint,
  speciesAt,
} from "./calls/species.js";

const HELP = gettext(
  "Tap a species: 1 single callers, 2 calls overlap, 3 full chorus, then none. “?”: not sure. No mark: not heard.",
);

export function calls(app, number) {
  const typed = stopText(number);
  const rows = new Map();
  const list = h("ul", { class: "calls" });
  const outOfSeason = h("ul", { class: "calls" });
  const outWords = h("span");
  const outBox = h("details", { class: "calls__out" }, h("summary", null, outWords), outOfSeason);
  const help = h("p", { class: "calls__help small muted" }, HELP);
  const search = () => searchSpecies((species) => set(species, "1"));
  const { protocol } = model.version;
  const radius =
    protocol.listening_radius_m && distance(protocol.listening_radius_m, model.route.distance_unit);
  const node = h(
    "section",
    { "aria-labelledby": "calls-title" },
    h("h2", { class: "calls__title", id: "calls-title" }, gettext("Heard here")),
    help,
    list,
    radius &&
      h("p", null, gettext("Near: at least one called within {radius}. Far: all were beyond.", { radius })),
    outBox,
    button(gettext("Another species"), search, { name: "search", kind: "block" }),
  );

  const textOf = ({ code }) => typed(`calls.${code}`);

  async function set(species, text) {
    await writeStop(number, { [`calls.${species.code}`]: text });
    const words = isIndexed(text) ? `${callWords(text)}, ${shortHint(text)}` : indexWords(text);
    app.snack(`${species.common_name}: ${words}`, undo);
  }

  function rowOf(species) {
    if (!rows.has(species.code)) {
      const row = callRow(
        species,
        () => textOf(species),
        (text) => set(species, text),
        () => groupWords(species, (code) => typed(`calls.${code}`)),
        radius,
      );
      rows.set(species.code, row);
    }
    return rows.get(species.code);
  }

  function update() {
    help.hidden = [...model.cells.keys()].some((address) => address.includes(".calls."));
    const order = checklist();
    const extra = speciesAt(number).filter(({ code }) => !order.some((species) => species.code === code));
    const calling = order.filter((species) => inSeason(species) || isHeard(textOf(species)));
    const silent = order.filter((species) => !calling.includes(species));
    const nodesOf = (several) => several.map((species) => rowOf(species).node);
    putChildren(list, nodesOf([...extra, ...calling]));
    putChildren(outOfSeason, nodesOf(silent));
    outBox.hidden = !silent.length;
    setText(outWords, gettext("Outside their calling season ({silent})", { silent: silent.length }));
    for (const row of rows.values()) row.update();
  }
  return { node, update };
}

/** A row stays where it was while its list is the same, so that focus and thumb stay too. */
function putChildren(target, nodes) {
  const isSame =
    nodes.length === target.children.length && nodes.every((node, i) => target.children[i] === node);
  if (isSame) return;
  const focused = document.activeElement;
  target.replaceChildren(...nodes);
  if (target.contains(focused)) focused.focus();
}
