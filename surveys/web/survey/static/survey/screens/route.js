// The evening at a glance: weather at the start, the stops and how far they are.
import { gettext } from "../language.js";
import { button, h, setAttribute, setText } from "../dom.js";
import { openTile } from "../leading.js";
import { model, stopText, stopTime } from "../model.js";
import { now } from "../clock.js";
import { nearest, rest, watchIfAllowed } from "../place.js";
import { sentBackWords, visitTitle } from "../status.js";
import { standing, timesOf } from "../timing.js";
import { heardAt } from "./calls/species.js";
import { AT_ENDS, conditions } from "./conditions.js";
import { emergency } from "./help.js";
import { rainQuestion } from "./rain.js";
import { returnTime } from "./returntime.js";
import { stopsMap } from "./route/map.js";
import { remarks } from "./stop/remarks.js";

const PHASE_WORDS = {
  away: gettext("not reached"),
  waiting: gettext("waiting"),
  ready: gettext("waiting"),
  listening: gettext("listening"),
  paused: gettext("paused"),
  over: gettext("listening"),
  done: gettext("done"),
  skipped: gettext("skipped"),
};

export function screen(app) {
  const { visit, stops, version } = model;
  const start = conditions(app, "start.", AT_ENDS, gettext("Weather at the start"), "start-title");
  const startCheck = remarks(app);
  const rain = rainQuestion(app);
  const comingBack = returnTime(app);
  const rows = stops.map((stop) => stopRow(app, stop));
  const map = stopsMap(model.packet.land, stops);
  const sos = emergency(() => nearest(stops, now()) ?? upcoming());
  const goOn = () =>
    unfinished() ? app.go("stop", visit.id, upcoming().number) : app.go("summary", visit.id);
  const next = button("", goOn, { kind: "primary large block" });
  const node = h(
    "div",
    null,
    h("p", { class: "muted" }, visitTitle(visit)),
    ...warnings(visit),
    sos.node,
    comingBack.node,
    start.node,
    startCheck.node,
    rain.node,
    stopList(rows),
    map.node,
    limitsBox(version),
    button(gettext("Finish route: weather, notes and submit"), () => app.go("summary", visit.id), {
      kind: "block",
      name: "paper-sheet",
    }),
  );
  const nextLabel = next.querySelector("span");

  const unfinished = () => rows.find((row) => !["done", "skipped"].includes(row.phase()));
  const upcoming = () => (unfinished() ?? rows.at(-1)).stop;

  function update() {
    start.update();
    startCheck.update(() => "");
    rain.update();
    comingBack.update();
    for (const row of rows) row.update();
    setText(
      nextLabel,
      unfinished()
        ? gettext("Go to stop {upcoming}", { upcoming: upcoming().number })
        : gettext("Go to the summary"),
    );
    sos.tick();
  }

  const tick = () => {
    sos.tick();
    map.tick();
  };

  watchIfAllowed();
  const dock = h("div", { class: "dock" }, next);
  const reveal = ({ field }) => openTile(node, field);
  return { title: gettext("Tonight’s visit"), node, dock, tick, update, reveal, leave: rest };
}

const stopList = (rows) =>
  h(
    "section",
    { "aria-labelledby": "stops-title" },
    h("h2", { id: "stops-title" }, gettext("Stops")),
    h(
      "ul",
      { class: "plain-list picks" },
      rows.map(({ node }) => node),
    ),
  );

const limitsBox = ({ limits }) =>
  h(
    "details",
    { class: "panel" },
    h("summary", null, gettext("Protocol limits")),
    h(
      "dl",
      { class: "facts" },
      limits.map(([name, limit]) => h("div", null, h("dt", null, name), h("dd", null, limit))),
    ),
  );

function warnings(visit) {
  const texts = [
    ...sentBackWords(visit),
    !model.tonight &&
      gettext(
        "This phone has no sunset time for this night. Your times will be checked after you send the visit.",
      ),
  ];
  return texts.filter(Boolean).map((text) => h("p", { class: "message message--warning" }, text));
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
        : species.join(", ") || (phase() === "done" ? gettext("nothing heard") : ""),
    );
  };
  return { node, update, phase, stop };
}
