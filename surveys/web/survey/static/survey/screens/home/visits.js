// Visits on this phone: their list, what is said of them together, and those that were thrown away.
import { gettext, ngettext } from "../../language.js";
import { button, h } from "../../dom.js";
import { day } from "../../rules/words.js";
import { keptWords, stateWords } from "../../status.js";
import { EDITABLE } from "../../store.js";

export function visitRow(app, standing, zone) {
  const { visit } = standing;
  const open = () => app.go(EDITABLE.includes(visit.state) ? "route" : "summary", visit.id);
  const sounds = app.sounds?.listWords(app.sounds.ofVisit(visit.id));
  const kept = [visit.trouble?.words ?? keptWords(standing, zone), sounds].filter(Boolean).join(" ");
  return h(
    "li",
    null,
    h(
      "button",
      { type: "button", class: "btn btn--block pick", onclick: open },
      h("strong", null, `${visit.route.code}, ${day(visit.night)}`),
      h("span", null, stateWords(visit)),
      h("span", { class: "small" }, kept),
    ),
  );
}

/** How many visits have not wholly reached the server. */
export const countWaiting = (standings) =>
  standings.filter(({ visit, waits, clashes }) => waits || clashes || visit.wants_submit || !visit.synced_at)
    .length;

export function summaryWords(visits, waiting, sound) {
  if (!visits) return gettext("No visits on this phone yet. Start one from a saved route below.");
  if (waiting)
    return ngettext(
      "One visit has not been fully uploaded.",
      "{number} visits have not been fully uploaded.",
      waiting,
    );
  if (sound) return gettext("All entries are on the server.");
  return gettext("Everything on this phone is on the server.");
}

/** What was thrown away here and may come back. */
export function thrownAwayBox(app, thrown) {
  if (!thrown.length) return null;
  const row = ({ visit }) => {
    const words = gettext("Restore {code}, {day}", { code: visit.route.code, day: day(visit.night) });
    return h(
      "li",
      null,
      button(words, () => app.bringBack(visit.id), { kind: "block", name: "undo" }),
    );
  };
  return h(
    "details",
    { class: "panel" },
    h("summary", null, gettext("Deleted drafts ({thrown})", { thrown: thrown.length })),
    h("p", { class: "small muted" }, gettext("Kept on this phone for two weeks, without recordings.")),
    h("ul", { class: "plain-list picks" }, thrown.map(row)),
  );
}
