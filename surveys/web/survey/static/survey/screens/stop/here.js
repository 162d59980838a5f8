// The stop that the screen is about: what is written there, how things stand, and writing to it.
import { now } from "../../clock.js";
import { model, note, stopText, stopTime, undo, writeStop } from "../../model.js";
import { standing, timesOf } from "../../timing.js";

export function stopHere(app, number) {
  const stop = model.stops.find((candidate) => candidate.number === number) ?? model.stops[0];
  const { protocol } = model.version;
  const index = model.stops.indexOf(stop);
  const typed = stopText(stop.number);
  const times = () => timesOf(typed, stopTime(stop.number));
  /** When the pause that still lasts began, or null. */
  const pausedSince = () => (model.visit.timer?.stop === stop.number ? model.visit.timer.paused_since : null);
  return {
    stop,
    typed,
    times,
    pausedSince,
    protocol,
    zone: model.route.time_zone,
    previous: model.stops[index - 1],
    next: model.stops[index + 1],
    standing: () => standing(times(), protocol, pausedSince(), now()),
    /** By how much the clock leapt while this stop was at work, in milliseconds; 0 if it did not. */
    leapMs: () => (model.visit.leap?.stop === stop.number ? model.visit.leap.ms : 0),
    forgetLeap: () => note((visit) => Object.assign(visit, { leap: null })),
    /** Write cells of this stop; with `words` it is said, and can be undone. */
    set: (texts, words) => writeStop(stop.number, texts).then(() => words && app.snack(words, undo)),
    goTo: (other) => app.go("stop", model.visit.id, other.number),
  };
}
