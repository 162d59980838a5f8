// Rules on the times at one stop: the settling wait, the listening.
import { breach, instant, LEAVE_IT, listened, paused, timeListened } from "./case.js";
import { duration } from "./words.js";

const READ_TO_THE_MINUTE = 60;

export function waitTooShort(record) {
  const wanted = record.protocol.settling_wait;
  return listened(record).flatMap((period) => {
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

export function listeningTooShort(record) {
  const wanted = record.protocol.listening_time;
  return listened(record).flatMap((period) => {
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
export function listeningTooLong(record) {
  const { protocol } = record;
  let longest = protocol.longest_listening_time;
  if (longest === null) {
    if (protocol.interruption === "extend") return [];
    longest = protocol.listening_time;
  }
  return listened(record).flatMap((period) => {
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
