// One stop: finding it, waiting, listening, writing down what is heard.
import { gettext } from "../language.js";
import * as alerts from "../alerts.js";
import { button, h, setText } from "../dom.js";
import { isLeapKept, model } from "../model.js";
import { rest, watchIfAllowed } from "../place.js";
import { calls } from "./calls.js";
import { AT_STOP, conditions, ownNames, waterMatters } from "./conditions.js";
import { emergency } from "./help.js";
import { ring } from "./ring.js";
import { stopActions } from "./stop/actions.js";
import { beforeListening } from "./stop/before.js";
import { changedWarning, clearButton } from "./stop/clear.js";
import { stopDock } from "./stop/dock.js";
import { stopHere } from "./stop/here.js";
import { leapBox } from "./stop/leap.js";
import { laterParts } from "./stop/parts.js";
import * as phases from "./stop/phases.js";
import { elsewhere } from "./stop/leaving.js";
import { readingsRow, stopReadings } from "./stop/readings.js";
import { remarks } from "./stop/remarks.js";
import { revealAt } from "./stop/reveal.js";
import { askSkipReason, undoSkip } from "./stop/skip.js";
import { wayBox } from "./stop/way.js";

export function screen(app, number) {
  const here = stopHere(app, number);
  const actions = stopActions(app, here);
  const sections = makeSections(app, here, () => refresh());
  const row = readingsRow(app, stopReadings(app, here, sections.names), () => showConditions(sections));
  const dock = stopDock(here, actions, row, beforeListening(app, here));
  const panel = phasePanel(here, actions, dock, sections);
  let phase = "";

  function update() {
    row.update();
    sections.heard.update();
    sections.conditions.update();
    sections.later.update();
    sections.remarks.update(() => phase);
    sections.clear.update();
  }

  function tick() {
    const standing = here.standing();
    panel.draw(standing);
    sections.sos.tick();
    sections.elsewhere.tick();
    if (standing.phase !== phase) enter(standing.phase);
  }

  function enter(next) {
    if (phase && next === "ready") {
      alerts.signal(1);
      app.alarm(gettext("The wait is over. Start listening."));
    } else if (phase) app.say(phases.phaseWords(next, here).heading);
    phase = next;
    arrange(node, panel.node, sections, phases.isListening(next));
    update();
  }

  function refresh() {
    update();
    tick();
  }

  watchIfAllowed();
  const title = gettext("Stop {number} of {model}", {
    number: here.stop.number,
    model: model.stops.at(-1).number,
  });
  const node = stopNode(here, panel, sections);
  const reveal = (aim) => revealAt(node, here.stop.number, sections.later, aim);
  return { title, node, dock: dock.dock, tick, update: refresh, reveal, leave: rest };
}

function stopNode(here, panel, sections) {
  const { leap, heard, later, skip } = sections;
  return h(
    "div",
    { class: "stop" },
    changedWarning(here),
    sections.elsewhere.node,
    leap.node,
    panel.node,
    sections.sos.node,
    heard.node,
    later.sounds,
    sections.conditions.node,
    sections.remarks.node,
    later.correction,
    panel.again,
    skip,
    sections.clear.node,
  );
}

/** While one listens, the species stand first: the rest gives way. */
function arrange(node, panel, { heard, sos }, isListening) {
  node.classList.toggle("stop--listening", isListening);
  panel.after(...(isListening ? [heard.node, sos.node] : [sos.node, heard.node]));
}

function makeSections(app, here, onSettled) {
  const { number } = here.stop;
  const names = [
    "air_temperature",
    ...(waterMatters() ? ["water_temperature"] : []),
    ...AT_STOP,
    ...ownNames("stop"),
    "note",
  ];
  return {
    names,
    leap: leapBox(app, here, onSettled),
    heard: calls(app, number),
    conditions: conditions(app, `stops.${number}.`, names, gettext("At this stop"), "conditions-title"),
    remarks: remarks(app, number),
    sos: emergency(() => here.stop),
    later: laterParts(app, number),
    clear: clearButton(app, here),
    elsewhere: elsewhere(app, here),
    skip: button(gettext("Skip this stop"), () => askSkipReason(here), {
      kind: "quiet block",
      name: "set-aside",
    }),
  };
}

function showConditions({ conditions: { node } }) {
  node.scrollIntoView({ block: "center" });
  node.querySelector("[data-empty]")?.focus({ preventScroll: true });
}

/** Where the observer stands: the way, the ring and what is going on. */
function phasePanel(here, actions, dock, { leap, skip }) {
  const dial = ring();
  const way = wayBox(here.stop);
  const [heading, detail] = ["what", "detail"].map((part) => h("p", { class: `phase__${part}` }));
  const again = button(gettext("Start listening over"), actions.restart, {
    kind: "quiet block",
    name: "undo",
  });
  const unskip = button(gettext("Undo skip"), () => undoSkip(here), { kind: "block", name: "undo" });
  const node = h(
    "section",
    { class: "panel panel--now phase", "aria-label": gettext("Current step") },
    way.node,
    h("div", { class: "phase__row" }, dial.node, h("div", { class: "phase__words" }, heading, detail)),
    unskip,
  );

  function draw(standing) {
    const { phase } = standing;
    actions.noticeArrival(way.draw(phases.isOver(phase)));
    const isLeapAsked = here.leapMs() > 0 && ["listening", "paused", "over"].includes(phase);
    if (phase === "over" && !isLeapAsked) actions.finish();
    const words = phases.phaseWords(phase, here);
    setText(heading, words.heading);
    setText(detail, words.detail);
    leap.show(isLeapAsked && isLeapKept());
    // On the way the cautions have the whole width.
    dial.node.hidden = phase === "away" || phases.isOver(phase);
    dial.set(phases.dialOf(standing, here));
    dock.draw(phase, words.action);
    again.hidden = !phases.mayRestart(phase);
    skip.hidden = !phases.maySkip(phase);
    unskip.hidden = phase !== "skipped";
  }
  return { node, again, draw };
}
