// Rules on one stop: the place, the settling wait, the listening.
import { breach, distanceUnit, instant, LEAVE_IT, listened, paused, timeListened } from "./case.js";
import { distanceM } from "./distance.js";
import { distance, duration } from "./words.js";

const READ_TO_THE_MINUTE = 60;

/** The measured place gets the benefit of its stated accuracy. */
export function farFromStop(rules) {
  const most = rules.protocol.max_distance_from_stop_m === undefined ? 100 : rules.protocol.max_distance_from_stop_m;
  const unit = distanceUnit(rules);
  const places = new Map(rules.route.stops.map((stop) => [stop.number, stop.place]));
  return listened(rules).flatMap((period) => {
    if (most === null || !period.measured_at || !places.has(period.stop)) return [];
    const meters = distanceM(period.measured_at, places.get(period.stop));
    const accuracy = Math.max(0, period.measured_accuracy_m ?? 0);
    if (meters - accuracy <= most) return [];
    const give = accuracy ? ` (give or take ${distance(accuracy, unit)})` : "";
    return [
      breach(
        { stop: period.stop, field: "measured_at" },
        `The position was measured ${distance(meters, unit)}${give} from stop ${period.stop};` +
          ` the protocol allows ${distance(most, unit)}.`,
        "Check that this is the right stop. If the stop cannot be used any more, tell" +
          ` the coordinator. ${LEAVE_IT}`,
      ),
    ];
  });
}

export function waitTooShort(rules) {
  const wanted = rules.protocol.settling_wait ?? null;
  return listened(rules).flatMap((period) => {
    const [arrived, started] = [instant(period.arrived_at), instant(period.started_at)];
    if (wanted === null || arrived === null || started === null) return [];
    const waited = (started - arrived) / 1000;
    if (waited < 0 || waited >= wanted) return [];
    return [
      breach(
        { stop: period.stop, field: "started_at" },
        `The wait before listening at stop ${period.stop} was ${duration(waited)};` +
          ` the protocol asks for ${duration(wanted)}.`,
        `If you are still at the stop, wait quietly and listen again. ${LEAVE_IT}`,
      ),
    ];
  });
}

export function listeningTooShort(rules) {
  const wanted = rules.protocol.listening_time;
  return listened(rules).flatMap((period) => {
    const length = timeListened(period);
    if (length === null || length < 0 || length >= wanted) return [];
    const pause = paused(period) ? `, the pause of ${duration(paused(period))} taken off` : "";
    return [
      breach(
        { stop: period.stop, field: "finished_at" },
        `The listening at stop ${period.stop} took ${duration(length)}${pause};` +
          ` the protocol asks for ${duration(wanted)}.`,
        `If you are still at the stop, listen again for the full time. ${LEAVE_IT}`,
      ),
    ];
  });
}

/** Times are often written to the minute, so one minute more is no breach. */
export function listeningTooLong(rules) {
  const { protocol } = rules;
  let longest = protocol.longest_listening_time ?? null;
  if (longest === null) {
    if (protocol.interruption === "extend") return [];
    longest = protocol.listening_time;
  }
  return listened(rules).flatMap((period) => {
    const length = timeListened(period);
    if (length === null || length <= longest + READ_TO_THE_MINUTE) return [];
    return [
      breach(
        { stop: period.stop, field: "finished_at" },
        `The listening at stop ${period.stop} took ${duration(length)};` +
          ` the protocol asks for no more than ${duration(longest)}.`,
        "Check the times. If there was a pause, write how long it was.",
      ),
    ];
  });
}
