// A stop that changed since the visit began, and taking its entries off the sheet.
import { gettext } from "../../language.js";
import { button, h, icon, question } from "../../dom.js";
import { clearStop, model, undo } from "../../model.js";
import { stopCells } from "../../visitstops.js";

/** Says so where a coordinator has closed or moved the stop meanwhile; else nothing. */
export function changedWarning({ stop }) {
  if (!stop.changed) return null;
  const words = stop.place
    ? gettext("This stop was closed or moved after you began. Listen only where it is safe and allowed.")
    : gettext("This stop is not on the route. Clear it, or correct its number on the sheet.");
  return h("div", { class: "message message--warning" }, icon("warning"), h("p", null, words));
}

/** A button that takes every entry of the stop off the sheet, once it was asked for twice. */
export function clearButton(app, { stop: { number } }) {
  const node = button(gettext("Clear this stop"), ask, { kind: "quiet block", name: "close" });

  function ask() {
    const clear = async () => {
      box.close();
      await clearStop(number);
      app.snack(gettext("Stop {number} is cleared.", { number }), undo);
    };
    const box = question(
      gettext("Clear stop {number}?", { number }),
      h("p", null, gettext("This removes all entries at this stop. Recordings stay.")),
      button(gettext("Clear stop {number}", { number }), clear, { kind: "danger block" }),
    );
  }

  const update = () => {
    node.hidden = !stopCells(model.cells, number).length;
  };
  return { node, update };
}
