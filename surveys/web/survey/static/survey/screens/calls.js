// The species of the night as big buttons: each tap raises the call index, 1, 2, 3, not heard.
import { button, dialog, h, setAttribute, setText } from "../dom.js";
import { model, stopText, undo, writeStop } from "../model.js";
import { inDays } from "../rules/case.js";
import { CALL_INDEX } from "../rules/codes.js";

const NEXT = { "": "1", 0: "1", 1: "2", 2: "3", 3: "", "?": "1" };
const MOST_FOUND = 12;
const heard = (typed) => !["", "0"].includes(typed);

function words(typed) {
  if (typed === "?") return "heard, not sure";
  if (!heard(typed)) return "not heard";
  return `call index ${typed}, ${CALL_INDEX.get(Number(typed)) ?? "not on the scale"}`;
}

export function calls(app, number) {
  const typed = stopText(number);
  const rows = new Map();
  const list = h("ul", { class: "calls" });
  const out = h("ul", { class: "calls" });
  const outWords = h("span");
  const outBox = h("details", { class: "calls__out" }, h("summary", null, outWords), out);
  const node = h(
    "section",
    { "aria-labelledby": "calls-title" },
    h("h2", { id: "calls-title" }, "Heard here"),
    h(
      "p",
      { class: "small muted" },
      "Tap once for each step: 1, 2, 3, not heard. Whatever you do not tap was not heard.",
    ),
    list,
    outBox,
    button("Another species", search, { name: "search", kind: "block" }),
  );

  async function set(species, text) {
    await writeStop(number, { [`calls.${species.code}`]: text });
    app.snack(
      `${species.common_name}: ${heard(text) && text !== "?" ? `${text}, ${shortHint(text)}` : words(text)}`,
      undo,
    );
  }

  function row(species) {
    const mark = h("span", { class: "ci ci--large", "aria-hidden": "true" });
    const hint = h("span", { class: "calls__hint" });
    const names = h(
      "span",
      { class: "calls__names" },
      h("span", { class: "calls__name" }, species.common_name),
      hint,
    );
    const main = h(
      "button",
      {
        type: "button",
        class: "calls__tap",
        "data-species": species.code,
        onclick: () => set(species, NEXT[typed(`calls.${species.code}`)] ?? "1"),
      },
      names,
      mark,
    );
    const unsure = h(
      "button",
      {
        type: "button",
        class: "calls__unsure",
        "aria-label": `${species.common_name}: heard, but not sure`,
        onclick: () => set(species, typed(`calls.${species.code}`) === "?" ? "" : "?"),
      },
      "?",
    );
    const update = () => {
      const text = typed(`calls.${species.code}`);
      setAttribute(mark, "class", `ci ci--large ci--${text === "?" ? "not-sure" : heard(text) ? text : "0"}`);
      setText(mark, heard(text) ? text : "–");
      setText(hint, heard(text) && text !== "?" ? shortHint(text) : species.scientific_name);
      setAttribute(hint, "class", heard(text) && text !== "?" ? "calls__hint" : "calls__hint species");
      setAttribute(main, "aria-label", `${species.common_name}: ${words(text)}`);
      setAttribute(unsure, "aria-pressed", String(text === "?"));
    };
    return { node: h("li", { class: "calls__row" }, main, unsure), update };
  }

  function rowOf(species) {
    if (!rows.has(species.code)) rows.set(species.code, row(species));
    return rows.get(species.code);
  }

  function search() {
    const found = h("ul", { class: "plain-list picks" });
    const box = h("input", { type: "search", id: "species-search", autocomplete: "off", oninput: look });
    const opened = dialog(
      "Another species",
      h("div", { class: "field" }, h("label", { for: "species-search" }, "Name, common or scientific"), box),
      found,
    );
    function look() {
      const wanted = box.value.trim().toLowerCase();
      const fits = everything().filter(
        (one) => wanted && `${one.common_name} ${one.scientific_name}`.toLowerCase().includes(wanted),
      );
      found.replaceChildren(
        ...fits.slice(0, MOST_FOUND).map((one) =>
          h(
            "li",
            null,
            h(
              "button",
              {
                type: "button",
                class: "btn btn--block pick",
                onclick: () => {
                  opened.close();
                  set(one, "1");
                },
              },
              h("strong", null, one.common_name),
              h("span", { class: "species small" }, one.scientific_name),
            ),
          ),
        ),
        ...(wanted && !fits.length
          ? [h("li", null, "No species has that name. Tap “?” at the nearest one, or write a note.")]
          : []),
      );
    }
    box.focus();
  }

  function update() {
    const order = likely();
    const written = [...model.cells.keys()].flatMap(
      (address) => address.match(new RegExp(`^stops\\.${number}\\.calls\\.(.+)$`))?.[1] ?? [],
    );
    const extra = written
      .filter((code) => !order.some((one) => one.code === code))
      .map(
        (code) =>
          everything().find((one) => one.code === code) ?? { code, common_name: code, scientific_name: "" },
      );
    const calling = order.filter((one) => inSeason(one) || heard(typed(`calls.${one.code}`)));
    const silent = order.filter((one) => !calling.includes(one));
    place(list, [...extra, ...calling]);
    place(out, silent);
    outBox.hidden = !silent.length;
    setText(outWords, `Outside their calling season (${silent.length})`);
    for (const one of rows.values()) one.update();
  }

  /** A row stays where it was while its list is the same, so that focus and thumb stay too. */
  function place(target, species) {
    const wanted = species.map((one) => rowOf(one).node);
    if (wanted.length === target.children.length && wanted.every((one, i) => target.children[i] === one))
      return;
    const focused = document.activeElement;
    target.replaceChildren(...wanted);
    if (target.contains(focused)) focused.focus();
  }
  return { node, update };
}

const shortHint = (text) => ["", "single callers", "some overlap", "full chorus"][Number(text)] ?? "";
const inSeason = ({ season }) => !season || inDays(model.visit.night, ...season);

function likely() {
  const { packet, tonight } = model;
  const known = new Map(packet.species.map((one) => [one.code, one]));
  return (tonight?.species ?? [...known.keys()]).map((code) => known.get(code)).filter(Boolean);
}

function everything() {
  const others = model.packet.others.map(([code, common_name, scientific_name]) => ({
    code,
    common_name,
    scientific_name,
  }));
  return [...model.packet.species, ...others];
}

export function heardAt(number) {
  const typed = stopText(number);
  return everything()
    .map((one) => [one, typed(`calls.${one.code}`)])
    .filter(([, text]) => heard(text))
    .map(([one, text]) => `${one.common_name} ${text}`);
}
