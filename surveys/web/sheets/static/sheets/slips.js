// On a narrow screen each stop is a slip: one at a time, its neighbors a tap away. Without this module
// they stand below each other.
import { gettext } from "../survey/language.js";

const rows = [...document.querySelectorAll(".sheet--slips tbody tr[id]")];
const jumps = new Map(
  [...document.querySelectorAll(".stop-jumps a")].map((link) => [link.hash.slice(1), link]),
);
const [previous, next] = [-1, 1].map((by) => {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "btn";
  button.addEventListener("click", () => show(rows[shown() + by], true));
  return button;
});
previous.textContent = gettext("Previous stop");
next.textContent = gettext("Next stop");

const shown = () => rows.findIndex((row) => "shown" in row.dataset);

function show(wanted, isLed = false) {
  for (const row of rows) {
    delete row.dataset.shown;
    jumps.get(row.id)?.removeAttribute("aria-current");
  }
  wanted.dataset.shown = "";
  jumps.get(wanted.id)?.setAttribute("aria-current", "true");
  previous.disabled = wanted === rows[0];
  next.disabled = wanted === rows.at(-1);
  if (isLed) wanted.scrollIntoView();
}

/** Links lead to stops and to cells of theirs. */
function follow() {
  const target = document.getElementById(decodeURIComponent(window.location.hash.slice(1)));
  const row = target?.closest("tr");
  if (!rows.includes(row)) return;
  show(row);
  target.scrollIntoView({ block: target === row ? "start" : "center" });
  if (target !== row) target.focus({ preventScroll: true });
}

if (rows.length) {
  const steps = document.createElement("div");
  steps.className = "slip-steps";
  steps.append(previous, next);
  document.querySelector(".sheet--slips").classList.add("sheet--one");
  document.querySelector(".sheet-wrap").after(steps);
  show(rows[0]);
  follow();
  window.addEventListener("hashchange", follow);
}
