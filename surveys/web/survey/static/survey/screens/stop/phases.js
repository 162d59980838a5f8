// The words of each phase at a stop, and which buttons it has.
import { now } from "../../clock.js";
import { model } from "../../model.js";
import { clock, duration } from "../../rules/words.js";

const PARKED =
  "Park fully off the road. Engine and headlights off; hazard lights on wherever others could come upon the car.";

/** Phase to what is going on, more of it, and what the big button does. */
const WORDS = {
  away: ({ protocol }) => [
    "On the way",
    protocol.settling_wait ? `${PARKED} Then wait ${duration(protocol.settling_wait)} quietly.` : PARKED,
    "I am at the stop",
  ],
  waiting: () => ["Let them settle", "Stand still. Headlamp off or dim.", "Start before the wait is over"],
  ready: ({ protocol }) => [
    "Ready to listen",
    `${duration(protocol.listening_time)} by the clock`,
    "Start listening",
  ],
  listening: ({ times, zone }) => [
    "Listening",
    times().started > now()
      ? "The phone’s clock was set back. Begin the listening again."
      : `since ${clock(times().started, zone)}`,
    "Stop before the time is over",
  ],
  paused: ({ protocol }) =>
    protocol.interruption === "restart"
      ? ["Loud event", "Wait until it is quiet, then begin again", "Begin again"]
      : ["Loud event", "The clock stands still until it is quiet", "Go on listening"],
  over: () => ["Time is up", "", "Write the end"],
  done: ({ times, zone, next }) => [
    "Stop done",
    `${clock(times().started, zone)} to ${clock(times().finished, zone)}`,
    next ? `Next: stop ${next.number}` : "To the summary",
  ],
  skipped: ({ typed }) => ["Skipped", typed("skip_reason"), "Listen here after all"],
};

export function phaseWords(phase, here) {
  const [heading, detail, action] = WORDS[phase](here);
  return { heading, detail, action };
}

export const isOver = (phase) => ["done", "skipped"].includes(phase);
export const isAtWork = (phase) => ["waiting", "ready", "listening", "paused"].includes(phase);
/** What ends a phase by the clock is not the main thing to press. */
export const isQuiet = (phase) => ["listening", "waiting"].includes(phase);
export const mayRestart = (phase) => ["listening", "paused", "done"].includes(phase);
export const maySkip = (phase) => !["listening", "paused", "done", "skipped"].includes(phase);

export function mayInterrupt(phase, { protocol, typed }) {
  if (phase !== "listening") return false;
  return protocol.interruption !== "extend" || typed("interrupted") !== "yes";
}

/** What the ring shows: the countdown, or the whole time that is to come. */
export function dialOf(standing, { protocol }) {
  const whole = 1000 * protocol.listening_time;
  const { phase, left, total } =
    standing.total && standing.phase !== "ready" ? standing : { ...standing, left: whole, total: whole };
  const words = { waiting: "until you listen", paused: "stands still" }[phase] ?? "to listen";
  return { phase, left, total, words };
}

/** Before the earliest start at this stop, when it is. The server has rounded it up to the minute. */
export function duskWords(phase, { stop, zone }) {
  const earliest = model.tonight?.stops[stop.number]?.earliest_start;
  if (!earliest || now() >= Date.parse(earliest) || !["away", "waiting", "ready"].includes(phase)) return "";
  return `Not before ${clock(Date.parse(earliest), zone)}`;
}
