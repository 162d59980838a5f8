// The stop at which the observer waits or listens, whatever screen is shown: its countdown in the bar,
// the signal when its time is up.
import { gettext } from "./language.js";
import * as alerts from "./alerts.js";
import { now } from "./clock.js";
import { model, stopText } from "./model.js";
import { setWorking } from "./quiet.js";
import { stopActions } from "./screens/stop/actions.js";
import { stopHere } from "./screens/stop/here.js";
import { isAtWork } from "./screens/stop/phases.js";
import { EDITABLE } from "./store.js";
import { countdown } from "./timing.js";

const LISTENS = ["listening", "paused", "over"];
// Somebody who is ready and does not listen has gone on.
const READY_MS = 600_000;

/** The open visit's stop that is at work with its standing; null where there is none. Listening comes first. */
export function stopAtWork() {
  const { visit, stops } = model;
  if (!visit || !EDITABLE.includes(visit.state)) return null;
  const heres = stops.filter(isBegun).map(({ number }) => stopHere(null, number));
  const standings = heres.map((here) => ({ here, stop: here.stop, standing: here.standing() }));
  return (
    standings.find(({ standing }) => LISTENS.includes(standing.phase)) ??
    standings.find(({ here, standing }) => isWaiting(standing, here.times().arrived)) ??
    null
  );
}

/** Without reading its times: this is asked four times a second. */
function isBegun({ number }) {
  const typed = stopText(number);
  return (typed("arrived_at") || typed("started_at")) && !typed("finished_at");
}

function isWaiting({ phase, total }, arrived) {
  return phase === "waiting" || (phase === "ready" && now() < arrived + total + READY_MS);
}

/** `tick(where)` brings everything up to date; it gives the stop and the words for the bar. */
export function watchWork(app) {
  let last = { number: null, phase: "" };

  function tick([screen, , shownStop]) {
    const found = stopAtWork();
    const number = found?.stop.number ?? null;
    const phase = found?.standing.phase ?? "";
    alerts.keepAwake(isAtWork(phase));
    setWorking(isAtWork(phase));
    const before = last.number === number ? last.phase : "";
    last = { number, phase };
    // The stop's own screen tells for itself.
    const isShown = screen === "stop" && Number(shownStop) === number;
    if (before !== phase && !isShown) tellChange(app, found, before);
    return found && inBar(found);
  }
  return { tick, stop: () => stopAtWork()?.stop };
}

function tellChange(app, found, before) {
  const number = found?.stop.number;
  if (before === "waiting" && found.standing.phase === "ready") {
    alerts.signal(1);
    const words = gettext("The wait at stop {number} is over. Start listening.", { number });
    app.alarm(words);
    app.snack(words);
  }
  // Only what this page saw begin is ended by it: a sheet may be typed at a desk meanwhile.
  if (before === "listening" && found.standing.phase === "over") {
    if (found.here.leapMs()) return alerts.signal(3);
    stopActions(app, found.here).finish();
    app.snack(gettext("Listening time at stop {number} is over.", { number }));
  }
  return undefined;
}

function inBar({ stop, standing: { phase, left } }) {
  const { number } = stop;
  const time = countdown(left ?? 0);
  const told = {
    waiting: gettext("Stop {number}: quiet wait, {time} left", { number, time }),
    ready: gettext("Stop {number}: ready to listen", { number }),
    listening: gettext("Stop {number}: listening, {time} left", { number, time }),
    paused: gettext("Stop {number}: paused, {time} left", { number, time }),
    over: gettext("Stop {number}: time is up", { number }),
  }[phase];
  return { stop, told, words: phase === "ready" ? gettext("Ready") : time };
}
