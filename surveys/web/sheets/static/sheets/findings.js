// What the server says of cells: findings of the rules, and cells that were changed elsewhere too.
import { gettext } from "../survey/language.js";
import { cellInputs, inputOf } from "./cells.js";

const SEVERITIES = ["note", "query", "refuse"];

/** Show these findings beside their cells, in place of all that stood there. */
export function showFindings(findings) {
  for (const note of document.querySelectorAll(".cell-note")) {
    note.replaceChildren();
    note.closest("td, .field")?.removeAttribute("data-severity");
  }
  for (const input of cellInputs()) input.removeAttribute("aria-invalid");
  for (const finding of findings) showFinding(finding);
}

function showFinding({ cell, stop, severity, message, why }) {
  const note = cell ? noteOf(cell) : document.querySelector(`[data-stop-note="${stop}"]`);
  if (!note) return;
  const link = document.createElement("a");
  link.href = why;
  link.textContent = gettext("Why?");
  addRemark(note, message, " ", link);
  const box = note.closest("td, .field");
  if (box && SEVERITIES.indexOf(severity) > SEVERITIES.indexOf(box.dataset.severity)) {
    box.dataset.severity = severity;
  }
  if (severity === "refuse") inputOf(cell)?.setAttribute("aria-invalid", "true");
}

/** Offer both texts of a cell; `onChoice(input, text)` is called with the one that was chosen. */
export function showConflict({ address, mine, theirs }, onChoice) {
  const input = inputOf(address);
  const note = noteOf(address);
  if (!input || !note) return;
  const button = (label, text) => {
    const element = document.createElement("button");
    element.type = "button";
    element.className = "btn btn--small";
    element.textContent = label;
    element.addEventListener("click", () => {
      remark.remove();
      onChoice(input, text);
    });
    return element;
  };
  const remark = addRemark(
    note,
    gettext("Changed elsewhere too. "),
    button(gettext("Keep “{mine}”", { mine }), mine),
    " ",
    button(gettext("Take “{theirs}”", { theirs }), theirs),
  );
}

function noteOf(address) {
  return document.getElementById(`note-${address}`);
}

function addRemark(note, ...parts) {
  const remark = document.createElement("span");
  remark.className = "cell-note__remark";
  remark.append(...parts);
  note.append(remark);
  return remark;
}
