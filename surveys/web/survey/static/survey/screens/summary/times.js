// Times that were written by a wrong clock, put right by what the server's clock says.
import { gettext, ngettext } from "../../language.js";
import { iso, nightOf } from "../../clock.js";
import { button, h, icon } from "../../dom.js";
import { model, note, write } from "../../model.js";
import { clockWords } from "../../status.js";
import { EDITABLE, setting } from "../../store.js";

export const TIMES = /^stops\.\d+\.(arrived|started|finished)_at$/;
export const INSTANT = /^\d{4}-\d{2}-\d{2}T/;

/** Calls `onShifted` when the times were put right. */
export function wrongClock(app, onShifted) {
  const node = h("div");

  async function update() {
    const ahead = await setting("clock-ahead", 0);
    const words = clockWords(ahead);
    if (node.dataset.key === words) return;
    node.dataset.key = words;
    const isOpen = EDITABLE.includes(model.visit.state);
    node.replaceChildren(...(words && isOpen ? [message(words, () => shift(ahead))] : []));
  }

  async function shift(ahead) {
    const count = await shiftTimes(ahead);
    node.dataset.key = "";
    app.snack(ngettext("{number} time corrected", "{number} times corrected", count));
    onShifted();
  }
  return { node, update };
}

function message(words, repair) {
  return h(
    "div",
    { class: "message message--warning" },
    icon("warning"),
    h(
      "div",
      null,
      h(
        "p",
        null,
        gettext("{words} If it was off during the survey, your times are off by the same amount.", { words }),
      ),
      model.visit.shifted
        ? h("p", null, gettext("The times are already corrected."))
        : button(gettext("Correct the times of this visit"), repair, { kind: "block" }),
    ),
  );
}

/** Move all times of the visit, and its night with them; how many there were. */
async function shiftTimes(ahead) {
  const times = [...model.cells].filter(
    ([address, text]) => TIMES.test(address) && !Number.isNaN(Date.parse(text)),
  );
  const right = times.map(([address, text]) => [address, iso(Date.parse(text) - ahead)]);
  const first = Math.min(...right.map(([, text]) => Date.parse(text)));
  const night = times.length ? nightOf(first, model.route.time_zone) : model.visit.night;
  await note((visit) => Object.assign(visit, { shifted: ahead, night }));
  await write({ ...Object.fromEntries(right), night });
  return times.length;
}
