// The evening at a glance: weather at the start, the stops and how far they are.
import { button, h, setAttribute, setText } from "../dom.js";
import { model, stopText, stopTime } from "../model.js";
import { day } from "../rules/words.js";
import { now } from "../clock.js";
import { standing, timesOf } from "../timing.js";
import { heardAt } from "./calls/species.js";
import { AT_ENDS, conditions } from "./conditions.js";
import { rainQuestion } from "./rain.js";

const PHASE_WORDS = {
  away: "not reached",
  waiting: "waiting",
  ready: "waiting",
  listening: "listening",
  paused: "paused",
  over: "listening",
  done: "done",
  skipped: "skipped",
};

export function screen(app) {
  const { visit, stops, version } = model;
  const start = conditions(app, "start", AT_ENDS, "Weather at the start", "start-title");
  const rain = rainQuestion(app);
  const rows = stops.map((stop) => stopRow(app, stop));
  const next = button("", () => app.go("stop", visit.id, upcoming()), { kind: "primary large block" });
  const node = h(
    "div",
    null,
    h("p", { class: "muted" }, `${visit.route.code} ${visit.route.name}, night of ${day(visit.night)}`),
    visit.state === "sent_back"
      ? h(
          "p",
          { class: "message message--warning" },
          "The coordinator sent this visit back. Mend it, then submit it again.",
        )
      : null,
    model.tonight
      ? null
      : h(
          "p",
          { class: "message message--warning" },
          "The packet does not hold this night: sunset and hours are checked when the visit reaches the server.",
        ),
    start.node,
    rain.node,
    h(
      "section",
      { "aria-labelledby": "stops-title" },
      h("h2", { id: "stops-title" }, "Stops"),
      h(
        "ul",
        { class: "plain-list picks" },
        rows.map(({ node }) => node),
      ),
    ),
    h(
      "details",
      { class: "panel" },
      h("summary", null, "Limits of the protocol"),
      h(
        "dl",
        { class: "facts" },
        version.limits.map(([name, limit]) => h("div", null, h("dt", null, name), h("dd", null, limit))),
      ),
    ),
    button("Summary and end of the route", () => app.go("summary", visit.id), {
      kind: "block",
      name: "paper-sheet",
    }),
  );
  const nextLabel = next.querySelector("span");

  /** The first stop that is neither done nor skipped; the last one when all are. */
  function upcoming() {
    const unfinished = rows.find((row) => !["done", "skipped"].includes(row.phase()));
    return (unfinished ?? rows.at(-1)).number;
  }

  function update() {
    start.update();
    rain.update();
    for (const row of rows) row.update();
    setText(nextLabel, `Go to stop ${upcoming()}`);
  }
  return { title: "Tonight’s visit", node, dock: h("div", { class: "dock" }, next), update };
}

function stopRow(app, stop) {
  const typed = stopText(stop.number);
  const state = h("span", { class: "tag" });
  const heard = h("span", { class: "small" });
  const phase = () =>
    standing(timesOf(typed, stopTime(stop.number)), model.version.protocol, null, now()).phase;
  const open = () => app.go("stop", model.visit.id, stop.number);
  const node = h(
    "li",
    null,
    h(
      "button",
      { type: "button", class: "btn btn--block pick", onclick: open },
      h("strong", null, `${stop.number}. ${stop.name}`),
      state,
      heard,
    ),
  );
  const update = () => {
    const species = heardAt(stop.number);
    setText(state, PHASE_WORDS[phase()]);
    setAttribute(state, "data-phase", phase());
    setText(
      heard,
      phase() === "skipped"
        ? typed("skip_reason")
        : species.join(", ") || (phase() === "done" ? "nothing heard" : ""),
    );
  };
  return { node, update, phase, number: stop.number };
}
