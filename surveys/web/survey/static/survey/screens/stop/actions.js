// What an observer does at a stop, as cells: listen, pause, end.
import { gettext } from "../../language.js";
import * as alerts from "../../alerts.js";
import { iso, now } from "../../clock.js";
import { model, note, writeStop } from "../../model.js";
import { duration } from "../../rules/words.js";
import { speciesAt } from "../calls/species.js";
import { listeningTime, pauseText } from "../../timing.js";
import { arrivals, positionCells } from "./arrivals.js";

/** What was heard belongs to the listening that is given up. */
const noCalls = (number) => Object.fromEntries(speciesAt(number).map(({ code }) => [`calls.${code}`, ""]));

const goOn = (app, { next, goTo }) => (next ? goTo(next) : app.go("summary", model.visit.id));

export function stopActions(app, here) {
  const { stop, protocol } = here;
  const { arrive, notice } = arrivals(here);
  let isFinishing = false;

  async function begin(cleared = {}) {
    alerts.prepare();
    if (here.leapMs()) await here.forgetLeap();
    return here.set(
      {
        ...cleared,
        status: "listened",
        started_at: iso(),
        finished_at: "",
        paused_minutes: "",
        ...positionCells(stop.number),
      },
      gettext("Listening started"),
    );
  }

  async function restart() {
    await note((visit) => Object.assign(visit, { timer: null, leap: null }));
    const cleared = { ...noCalls(stop.number), started_at: "", finished_at: "", paused_minutes: "" };
    await here.set(cleared, gettext("Listening and species start over when you tap Start"));
  }

  async function interrupt() {
    if (protocol.interruption === "extend") {
      const longer = duration(listeningTime(protocol, true));
      return here.set({ interrupted: "yes" }, gettext("Listening time is now {longer}", { longer }));
    }
    await note((visit) => Object.assign(visit, { timer: { stop: stop.number, paused_since: now() } }));
    return here.set({ interrupted: "yes" });
  }

  async function resume() {
    const since = here.pausedSince();
    await note((visit) => Object.assign(visit, { timer: null }));
    if (protocol.interruption === "restart") return begin(noCalls(stop.number));
    const pause = here.times().pausedMs + Math.max(0, now() - since);
    return here.set({ paused_minutes: pauseText(pause) }, gettext("Listening again"));
  }

  /** The time is up. The signal does not wait for the disk; where that is full, the button tries again. */
  async function finish() {
    if (isFinishing) return;
    isFinishing = true;
    alerts.signal(3);
    app.alarm(gettext("Listening time at stop {number} is over.", { number: stop.number }));
    await writeEnd();
  }

  async function writeEnd() {
    if (here.leapMs()) await here.forgetLeap();
    await writeStop(stop.number, { finished_at: iso(here.standing().ends) });
    isFinishing = false;
  }

  /** What the big button does, by phase. */
  const mainAction = {
    away: () => arrive(gettext("Arrival time saved")),
    waiting: () => begin(),
    ready: () => begin(),
    listening: () => here.set({ finished_at: iso() }, gettext("Listening stopped early")),
    paused: resume,
    over: writeEnd,
    done: () => goOn(app, here),
    skipped: () => goOn(app, here),
  };
  return { mainAction, restart, interrupt, finish, noticeArrival: notice };
}
