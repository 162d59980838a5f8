// Where an observer stands at a stop, worked out from the cells and the wall clock alone: after a
// sleep, a reload or an empty battery the same cells give the same countdown.

/** What the cells of a stop say: `cell(name)` gives a text of that stop, `time(name)` an instant. */
export function timesOf(cell, time) {
  return {
    status: cell("status"),
    arrived: time("arrived_at"),
    started: time("started_at"),
    finished: time("finished_at"),
    pausedMs: (Number(cell("paused_minutes").replace(",", ".")) || 0) * 60_000,
    interrupted: cell("interrupted") === "yes",
  };
}

const SET_BACK_MS = 60_000;

/**
 * `phase`: away, skipped, waiting, ready (the wait is over), listening, paused, over (the time is
 * up, but no end is written), done. `left` and `total` in milliseconds where there is a countdown.
 * `pausedSince` is the instant at which a pause that still lasts began.
 */
export function standing(times, protocol, pausedSince, now) {
  const { status, arrived, started, finished, pausedMs } = times;
  if (status === "skipped") return { phase: "skipped" };
  if (started !== null && finished !== null) return { phase: "done" };
  if (started !== null) return listening(times, protocol, pausedSince, now);
  if (status === "listened" && finished !== null) return { phase: "done" };
  // An arrival that lies ahead was written before the phone's clock was set back.
  if (arrived === null || arrived > now + SET_BACK_MS) return { phase: "away" };
  const total = 1000 * (protocol.settling_wait ?? 0);
  const left = Math.max(0, arrived + total - now);
  return { phase: left > 0 ? "waiting" : "ready", left, total, pausedMs };
}

function listening({ started, pausedMs, interrupted }, protocol, pausedSince, now) {
  const total = 1000 * listeningTime(protocol, interrupted);
  const pause = pausedMs + (pausedSince ? Math.max(0, now - pausedSince) : 0);
  const heard = Math.max(0, now - started - pause);
  const left = Math.max(0, total - heard);
  if (pausedSince) return { phase: "paused", left, total, pause };
  return { phase: left > 0 ? "listening" : "over", left, total, ends: started + pausedMs + total };
}

/** Seconds to listen: longer where the protocol makes up for noise with time. */
export function listeningTime(protocol, interrupted) {
  if (protocol.interruption === "extend" && interrupted) {
    return protocol.longest_listening_time ?? 2 * protocol.listening_time;
  }
  return protocol.listening_time;
}

/** 4:05 of milliseconds, up to the full second that still lasts. */
export function countdown(milliseconds) {
  const seconds = Math.ceil(milliseconds / 1000);
  return `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
}

/** Minutes to two places, as the pause goes into its cell. */
export const pauseText = (milliseconds) => String(Math.round(milliseconds / 600) / 100);
