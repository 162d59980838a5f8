// One stop: finding it, waiting, listening, writing down what is heard.
import * as alerts from "../alerts.js";
import { iso, now } from "../clock.js";
import { button, dialog, h, icon, setAttribute, setText, svg } from "../dom.js";
import { model, note, stopText, stopTime, undo, writeStop } from "../model.js";
import { isThere, place, placeCells, rest, watch, wayTo } from "../place.js";
import { clock, distance, duration } from "../rules/words.js";
import { listeningTime, pauseText, standing, timesOf } from "../timing.js";
import { calls } from "./calls.js";
import { AT_STOP, conditions, waterMatters } from "./conditions.js";
import { ring } from "./ring.js";

const REASONS = [
  "Unsafe to stop",
  "Road closed",
  "No access tonight",
  "Too noisy to hear",
  "Weather",
  "No time left",
];
const INSTANT = /^\d{4}-\d{2}-\d{2}T/;
const LOUD = {
  pause: "Loud event: pause",
  restart: "Loud event: begin again",
  extend: "Noise: listen longer",
};
// Told only once a stop is done: until then they are merely not written down yet.
const NOT_YET = /-missing$/;

export function screen(app, number) {
  const stop = model.stops.find((one) => one.number === number) ?? model.stops[0];
  const typed = stopText(stop.number);
  const times = () => timesOf(typed, stopTime(stop.number));
  const { protocol } = model.version;
  const zone = model.route.time_zone;
  const around = model.stops.indexOf(stop);
  const dial = ring();
  const heading = h("p", { class: "phase__what" });
  const detail = h("p", { class: "phase__detail" });
  const dusk = h("p", { class: "phase__detail" });
  const way = wayBox();
  const main = button("", press, { kind: "primary large block" });
  const mainWords = main.querySelector("span");
  const loud = button(LOUD[protocol.interruption], interrupt, { kind: "block", name: "car" });
  const again = button("Begin the listening again", restart, { kind: "quiet", name: "undo" });
  const skip = button("Skip this stop", askReason, { kind: "quiet block", name: "set-aside" });
  const leapWords = h("p");
  const leapBox = h(
    "div",
    { class: "message message--warning" },
    icon("warning"),
    h(
      "div",
      null,
      leapWords,
      h(
        "div",
        { class: "actions" },
        button("It slept: the time counts", () => settle(false), { kind: "block" }),
        button("The clock was set: go on listening", () => settle(true), { kind: "block" }),
      ),
    ),
  );
  const heardHere = calls(app, stop.number);
  const names = waterMatters() ? ["air_temperature", "water_temperature", ...AT_STOP.slice(1)] : AT_STOP;
  const here = conditions(app, `stops.${stop.number}`, names, "At this stop", "conditions-title");
  const soundBox = h("div");
  const timeBox = h("div");
  const repair = h(
    "details",
    { class: "panel", ontoggle: () => repair.open && mount("times", timeBox) },
    h("summary", null, "Correct the times"),
    timeBox,
  );
  const said = h("ul", { class: "findings" });
  const saidBox = h(
    "section",
    { "aria-labelledby": "said-title" },
    h("h2", { id: "said-title" }, "What the protocol says"),
    said,
  );
  const node = h(
    "div",
    { class: "stop" },
    leapBox,
    h(
      "section",
      { class: "panel panel--now phase", "aria-label": "Where you stand" },
      way.node,
      h(
        "div",
        { class: "phase__row" },
        dial.node,
        h("div", { class: "phase__words" }, heading, detail, dusk),
      ),
      again,
    ),
    heardHere.node,
    soundBox,
    here.node,
    saidBox,
    repair,
    skip,
  );
  const before = button("", () => app.go("stop", model.visit.id, model.stops[around - 1].number), {
    name: "previous",
    "aria-label": "Stop before",
  });
  const after = button("", () => app.go("stop", model.visit.id, model.stops[around + 1].number), {
    name: "next",
    "aria-label": "Next stop",
  });
  before.disabled = around === 0;
  after.disabled = around === model.stops.length - 1;
  const dock = h("div", { class: "dock" }, loud, h("div", { class: "dock__main" }, before, main, after));
  leapBox.hidden = true;
  let busy = false;
  let phase = "";
  let findings = null;
  const parts = {};
  const later = {
    sounds: () => import("./sounds.js").then(({ stopSounds }) => stopSounds(app, stop.number)),
    times: () => import("./times.js").then(({ timeFields }) => timeFields(app, stop.number)),
  };

  const now_ = () => standing(times(), protocol, pausedSince(), now());
  const pausedSince = () => (model.visit.timer?.stop === stop.number ? model.visit.timer.paused_since : null);
  const set = (texts, words) => writeStop(stop.number, texts).then(() => words && app.snack(words, undo));

  // A cold hand taps twice: the second tap must not press what the first one brought up.
  function press({ detail }) {
    if (detail < 2) act[now_().phase]();
  }

  const act = {
    away: () => arrive("Arrival written"),
    waiting: begin,
    ready: begin,
    listening: finishEarly,
    paused: resume,
    over: finish,
    done: next,
    skipped: () => set({ status: "", skip_reason: "" }, "Not skipped any more"),
  };

  function arrive(words) {
    alerts.prepare();
    return set({ arrived_at: iso(), ...measured() }, words);
  }

  function measured() {
    const found = Object.entries(placeCells(stop.number, now()));
    return Object.fromEntries(found.map(([address, text]) => [address.split(".").at(-1), text]));
  }

  async function begin() {
    alerts.prepare();
    if (leapt())
      await note((visit) => {
        visit.leap = null;
      });
    return set(
      { status: "listened", started_at: iso(), finished_at: "", paused_minutes: "", ...measured() },
      "Listening begins",
    );
  }

  const leapt = () => (model.visit.leap?.stop === stop.number ? model.visit.leap.ms : 0);

  /** What the observer said of a clock that leapt: the time passed, or the times here move along. */
  async function settle(wasSet) {
    const ms = leapt();
    const moved = ["arrived_at", "started_at"].filter((name) => wasSet && INSTANT.test(typed(name)));
    if (moved.length)
      await writeStop(
        stop.number,
        Object.fromEntries(moved.map((name) => [name, iso(Date.parse(typed(name)) + ms)])),
      );
    await note((visit) => {
      visit.leap = null;
      if (wasSet && visit.timer?.stop === stop.number) visit.timer.paused_since += ms;
    });
    update();
  }

  async function restart() {
    await note((visit) => Object.assign(visit, { timer: null, leap: null }));
    await set(
      { started_at: "", finished_at: "", paused_minutes: "" },
      "The listening begins anew when you start it",
    );
  }

  async function interrupt() {
    if (protocol.interruption === "extend") {
      const longer = duration(listeningTime(protocol, true));
      return set({ interrupted: "yes" }, `The listening lasts ${longer} now`);
    }
    await note((visit) => {
      visit.timer = { stop: stop.number, paused_since: now() };
    });
    return set({ interrupted: "yes" });
  }

  async function resume() {
    const since = pausedSince();
    await note((visit) => {
      visit.timer = null;
    });
    if (protocol.interruption === "restart") return begin();
    const pause = times().pausedMs + Math.max(0, now() - since);
    return set({ paused_minutes: pauseText(pause) }, "The listening goes on");
  }

  async function finish() {
    if (busy) return;
    busy = true;
    if (leapt())
      await note((visit) => {
        visit.leap = null;
      });
    await writeStop(stop.number, { finished_at: iso(now_().ends) });
    alerts.signal(3);
    app.alarm(`The listening time at stop ${stop.number} is over.`);
    busy = false;
  }

  function finishEarly() {
    return set({ finished_at: iso() }, "The listening ended before its time");
  }

  function next() {
    if (around < model.stops.length - 1) app.go("stop", model.visit.id, model.stops[around + 1].number);
    else app.go("summary", model.visit.id);
  }

  function askReason() {
    const pick = (reason) => () => {
      box.close();
      set(
        { status: "skipped", skip_reason: reason, started_at: "", finished_at: "", paused_minutes: "" },
        `Stop ${stop.number} skipped: ${reason}`,
      );
    };
    const other = h("input", { type: "text", id: "reason", maxlength: 200, autocomplete: "off" });
    const box = dialog(
      `Why is stop ${stop.number} skipped?`,
      h(
        "ul",
        { class: "plain-list picks" },
        REASONS.map((reason) => h("li", null, button(reason, pick(reason), { kind: "block" }))),
      ),
      h("div", { class: "field" }, h("label", { for: "reason" }, "Another reason"), other),
      button("Skip for this reason", () => other.value.trim() && pick(other.value.trim())(), {
        kind: "block",
      }),
    );
  }

  function wayBox() {
    const arrow = svg(
      "svg",
      { viewBox: "0 0 24 24", class: "way__arrow", "aria-hidden": "true" },
      svg("path", { d: "M12 3l6 17-6-4-6 4z" }),
    );
    const words = h("span", { class: "way__words" });
    const notes = stop.notes && h("p", { class: "small muted" }, stop.notes);
    const row = h("div", { class: "way__row" }, arrow, words);
    const box = h("div", { class: "way" }, h("strong", null, stop.name), row, notes);
    const draw = (over) => {
      row.hidden = over;
      const found = wayTo(stop, now());
      const states = {
        refused: "No position: the phone does not allow it. Everything else works.",
        none: "This phone has no position.",
        asking: "Looking for the position …",
        on: "The position is old; looking again …",
        off: "",
      };
      const unit = model.route.distance_unit;
      const length = (meters) => distance(meters, unit).replaceAll(" ", "\u00a0");
      setText(
        words,
        found
          ? `${length(found.meters)} ${found.point}, give or take ${length(found.accuracy)}`
          : states[place.state],
      );
      setAttribute(arrow, "data-off", found && found.meters > 15 ? null : "yes");
      if (found) setAttribute(arrow, "transform", `rotate(${Math.round(found.degrees)})`);
      return found;
    };
    return { node: box, draw };
  }

  /** Arrival noticed by the position, once, and only while nothing is written at the stop. */
  function noticed(found) {
    if (
      busy ||
      !isThere(found) ||
      typed("arrived_at") ||
      typed("status") ||
      document.visibilityState === "hidden"
    )
      return;
    if (model.visit.noticed?.includes(stop.number)) return;
    busy = true;
    note((visit) => {
      visit.noticed = [...(visit.noticed ?? []), stop.number];
    })
      .then(() => arrive(`You are at the stop. Arrival written at ${clock(now(), zone)}`))
      .finally(() => {
        busy = false;
      });
  }

  const texts = {
    away: () => [
      "On the way",
      protocol.settling_wait
        ? `Then wait ${duration(protocol.settling_wait)} quietly`
        : "Engine and lights off when you are there",
      "I am at the stop",
    ],
    waiting: () => ["Let them settle", "Stand still, lights off", "Start before the wait is over"],
    ready: () => ["Ready to listen", `${duration(protocol.listening_time)} by the clock`, "Start listening"],
    listening: () => [
      "Listening",
      times().started > now()
        ? "The phone’s clock was set back. Begin the listening again."
        : `since ${clock(times().started, zone)}`,
      "Stop before the time is over",
    ],
    paused: () => [
      "Loud event",
      protocol.interruption === "restart"
        ? "Wait until it is quiet, then begin again"
        : "The clock stands still until it is quiet",
      protocol.interruption === "restart" ? "Begin again" : "Go on listening",
    ],
    over: () => ["Time is up", "", "Write the end"],
    done: () => [
      "Stop done",
      `${clock(times().started, zone)} to ${clock(times().finished, zone)}`,
      around < model.stops.length - 1 ? `Next: stop ${model.stops[around + 1].number}` : "To the summary",
    ],
    skipped: () => ["Skipped", typed("skip_reason"), "Listen here after all"],
  };

  function tick() {
    const stand = now_();
    const over = ["done", "skipped"].includes(stand.phase);
    noticed(way.draw(over));
    const asked = leapt() > 0 && ["listening", "paused", "over"].includes(stand.phase);
    if (stand.phase === "over" && !asked) finish();
    const [what, more, action] = texts[stand.phase]();
    setText(heading, what);
    setText(detail, more);
    setText(dusk, duskWords(stand.phase));
    setText(mainWords, action);
    setAttribute(
      main,
      "class",
      `btn btn--large btn--block ${["listening", "waiting"].includes(stand.phase) ? "" : "btn--primary"}`,
    );
    const whole = 1000 * protocol.listening_time;
    const counting = stand.total && stand.phase !== "ready" ? stand : { left: whole, total: whole };
    askWhy(asked);
    dial.node.hidden = over;
    dial.set({
      ...counting,
      phase: stand.phase,
      words:
        stand.phase === "waiting"
          ? "until you listen"
          : stand.phase === "paused"
            ? "stands still"
            : "to listen",
    });
    loud.hidden =
      stand.phase !== "listening" || (protocol.interruption === "extend" && typed("interrupted") === "yes");
    again.hidden = !["listening", "paused", "done"].includes(stand.phase);
    skip.hidden = ["listening", "paused", "done", "skipped"].includes(stand.phase);
    if (stand.phase !== phase) turned(stand.phase);
  }

  /** A phone that slept and a clock that was set look alike; only the observer knows. */
  function askWhy(asked) {
    if (asked === !leapBox.hidden) return;
    leapBox.hidden = !asked;
    if (!asked) return;
    const seconds = Math.round(leapt() / 1000);
    const words = `The phone’s clock leapt ${duration(seconds < 120 ? seconds : 60 * Math.round(seconds / 60))} ahead. Did the phone sleep, or was its clock set?`;
    setText(leapWords, words);
    app.alarm(words);
  }

  function turned(to) {
    if (phase && to === "ready") {
      alerts.signal(1);
      app.alarm("The wait is over. Start listening.");
    } else if (phase) app.say(texts[to]()[0]);
    phase = to;
    alerts.keepAwake(["waiting", "ready", "listening", "paused"].includes(to));
    update();
  }

  function duskWords(at) {
    const earliest = model.tonight?.stops[stop.number]?.earliest_start;
    if (!earliest || now() >= Date.parse(earliest) || !["away", "waiting", "ready"].includes(at)) return "";
    return `Not before ${clock(Math.ceil(Date.parse(earliest) / 60_000) * 60_000, zone)}`;
  }

  /** Put in a part of the screen that comes after the first use. */
  function mount(name, box) {
    parts[name] ??= later[name]().then((part) => {
      box.replaceWith(part.node);
      return part;
    });
    parts[name].then((part) => part.update());
  }

  function update() {
    heardHere.update();
    here.update();
    if (app.sounds) mount("sounds", soundBox);
    if (parts.times) mount("times", timeBox);
    findings ??= app.judge && import("../findings.js");
    if (!findings) return;
    Promise.resolve(findings).then(({ judgeModel, showFindings }) => {
      const mine = judgeModel().filter(
        (one) => one.stop === stop.number && (phase === "done" || !NOT_YET.test(one.code)),
      );
      if (showFindings(said, mine) && mine.length) app.say(mine.at(-1).message);
      saidBox.hidden = !mine.length;
    });
  }

  watch();
  return {
    title: `Stop ${stop.number} of ${model.stops.length}`,
    node,
    dock,
    tick,
    update: () => {
      tick();
      update();
    },
    leave: rest,
  };
}
