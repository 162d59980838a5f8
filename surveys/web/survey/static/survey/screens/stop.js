// One stop: finding it, waiting, listening, writing down what is heard.
import { gettext } from "../language.js";
import * as alerts from "../alerts.js";
import { button, h, setAttribute, setText } from "../dom.js";
import { isLeapKept, model } from "../model.js";
import { rest, watchIfAllowed } from "../place.js";
import { calls } from "./calls.js";
import { AT_STOP, conditions, ownNames, waterMatters } from "./conditions.js";
import { emergency } from "./help.js";
import { ring } from "./ring.js";
import { stopActions } from "./stop/actions.js";
import { changedWarning, clearButton } from "./stop/clear.js";
import { stopHere } from "./stop/here.js";
import { leapBox } from "./stop/leap.js";
import { laterParts } from "./stop/parts.js";
import * as phases from "./stop/phases.js";
import { remarks } from "./stop/remarks.js";
import { elsewhere, leaveFor } from "./stop/leaving.js";
import { askSkipReason } from "./stop/skip.js";
import { wayBox } from "./stop/way.js";

const LOUD = {
  pause: gettext("Loud event: pause"),
  restart: gettext("Loud event: start over"),
  extend: gettext("Noise: listen longer"),
};

export function screen(app, number) {
  const here = stopHere(app, number);
  const actions = stopActions(app, here);
  const sections = makeSections(app, here, () => refresh());
  const panel = phasePanel(here, actions, sections);
  let phase = "";

  function update() {
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
    update();
  }

  function refresh() {
    tick();
    update();
  }

  watchIfAllowed();
  const { leap, heard, later, skip } = sections;
  const title = gettext("Stop {number} of {model}", { number: here.stop.number, model: model.stops.length });
  const node = h(
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
    skip,
    sections.clear.node,
  );
  return { title, node, dock: panel.dock, tick, update: refresh, leave: rest };
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

/** Where the observer stands: the way, the ring and the buttons that move things along. */
function phasePanel(here, actions, { leap, skip }) {
  const dial = ring();
  const way = wayBox(here.stop);
  const [heading, detail, dusk] = ["what", "detail", "detail"].map((part) =>
    h("p", { class: `phase__${part}` }),
  );
  const again = button(gettext("Start listening over"), actions.restart, {
    kind: "quiet",
    name: "undo",
  });
  const buttons = dockButtons(here, actions);
  const node = h(
    "section",
    { class: "panel panel--now phase", "aria-label": gettext("Current step") },
    way.node,
    h("div", { class: "phase__row" }, dial.node, h("div", { class: "phase__words" }, heading, detail, dusk)),
    again,
  );

  function draw(standing) {
    const { phase } = standing;
    actions.noticeArrival(way.draw(phases.isOver(phase)));
    const isLeapAsked = here.leapMs() > 0 && ["listening", "paused", "over"].includes(phase);
    if (phase === "over" && !isLeapAsked) actions.finish();
    const words = phases.phaseWords(phase, here);
    setText(heading, words.heading);
    setText(detail, words.detail);
    setText(dusk, phases.duskWords(phase, here));
    leap.show(isLeapAsked && isLeapKept());
    // On the way the cautions have the whole width.
    dial.node.hidden = phase === "away" || phases.isOver(phase);
    dial.set(phases.dialOf(standing, here));
    buttons.draw(phase, words.action);
    again.hidden = !phases.mayRestart(phase);
    skip.hidden = !phases.maySkip(phase);
  }
  return { node, dock: buttons.dock, draw };
}

function dockButtons(here, actions) {
  const main = button("", press, { kind: "primary large block" });
  const words = main.querySelector("span");
  const loud = button(LOUD[here.protocol.interruption], actions.interrupt, { kind: "block", name: "car" });
  const [previous, next] = [
    ["previous", gettext("Previous stop")],
    ["next", gettext("Next stop")],
  ].map(([side, label]) => {
    const arrow = button("", () => leaveFor(here, here[side]), { name: side, "aria-label": label });
    arrow.disabled = !here[side];
    return arrow;
  });
  const dock = h("div", { class: "dock" }, loud, h("div", { class: "dock__main" }, previous, main, next));

  // A cold hand taps twice: the second tap must not press what the first one brought up.
  function press({ detail }) {
    if (detail < 2) actions.mainAction[here.standing().phase]();
  }

  function draw(phase, action) {
    setText(words, action);
    const kind = phases.isQuiet(phase) ? "" : "btn--primary";
    setAttribute(main, "class", `btn btn--large btn--block ${kind}`);
    loud.hidden = !phases.mayInterrupt(phase, here);
  }
  return { dock, draw };
}
