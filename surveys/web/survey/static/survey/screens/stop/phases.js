// The words of each phase at a stop, and which buttons it has.
import { gettext } from "../../language.js";
import { now } from "../../clock.js";
import { clock, duration } from "../../rules/words.js";

const PARKED = gettext(
  "Park fully off the road. Engine and headlights off; hazard lights on wherever others could come upon the car.",
);

/** Phase to what is going on, more of it, and what the big button does. */
const WORDS = {
  away: ({ protocol }) => [
    gettext("On the way"),
    protocol.settling_wait
      ? gettext("{parked} Then wait {duration} quietly.", {
          parked: PARKED,
          duration: duration(protocol.settling_wait),
        })
      : PARKED,
    gettext("I am at the stop"),
  ],
  waiting: () => [
    gettext("Quiet wait"),
    gettext("Stand still. Headlamp off or dim."),
    gettext("Start listening early"),
  ],
  ready: ({ protocol }) => [
    gettext("Ready to listen"),
    gettext("{duration} by the clock", { duration: duration(protocol.listening_time) }),
    gettext("Start listening"),
  ],
  listening: ({ times, zone }) => [
    gettext("Listening"),
    times().started > now()
      ? gettext("The phone’s clock was set back. Start listening over.")
      : gettext("since {time}", { time: clock(times().started, zone) }),
    gettext("Stop listening early"),
  ],
  paused: ({ protocol }) =>
    protocol.interruption === "restart"
      ? [gettext("Loud event"), gettext("Wait until it is quiet, then start over"), gettext("Start over")]
      : [gettext("Loud event"), gettext("The clock is paused until it is quiet"), gettext("Keep listening")],
  over: () => [gettext("Time is up"), "", gettext("Save end time")],
  done: ({ times, zone, next }) => [
    gettext("Stop done"),
    gettext("{first} to {last}", {
      first: clock(times().started, zone),
      last: clock(times().finished, zone),
    }),
    onward(next),
  ],
  skipped: ({ typed, next }) => [gettext("Skipped"), typed("skip_reason"), onward(next)],
};

function onward(next) {
  return next ? gettext("Next: stop {number}", { number: next.number }) : gettext("Go to the summary");
}

export function phaseWords(phase, here) {
  const [heading, detail, action] = WORDS[phase](here);
  return { heading, detail, action };
}

export const isOver = (phase) => ["done", "skipped"].includes(phase);
export const isAtWork = (phase) => ["waiting", "ready", "listening", "paused"].includes(phase);
/** What ends a phase by the clock is not the main thing to press. */
export const isQuiet = (phase) => ["listening", "waiting"].includes(phase);
export const isListening = (phase) => ["listening", "paused"].includes(phase);
export const mayRestart = (phase) => ["listening", "paused", "done"].includes(phase);
export const maySkip = (phase) => !["listening", "paused", "done", "skipped"].includes(phase);

/** Weather is written down once one is there; while one listens, there is time for calls alone. */
export const mayRead = (phase) => !["away", "skipped"].includes(phase);
export const hasTime = (phase) => ["waiting", "ready", "paused", "done"].includes(phase);

export function mayInterrupt(phase, { protocol, typed }) {
  if (phase !== "listening") return false;
  return protocol.interruption !== "extend" || typed("interrupted") !== "yes";
}

/** What the ring shows: the countdown, or the whole time that is to come. */
export function dialOf(standing, { protocol }) {
  const whole = 1000 * protocol.listening_time;
  const { phase, left, total } =
    standing.total && standing.phase !== "ready" ? standing : { ...standing, left: whole, total: whole };
  const words =
    { waiting: gettext("until you listen"), paused: gettext("paused") }[phase] ?? gettext("to listen");
  return { phase, left, total, words };
}
