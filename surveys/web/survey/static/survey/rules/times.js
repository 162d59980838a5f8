// Rules on the times at one stop: the settling wait, the listening.
import { breach, instant, listened, paused, timeListened } from "./case.js";
import { duration } from "./params.js";

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
        { stop: period.stop, waited: duration(waited), wanted: duration(wanted) },
      ),
    ];
  });
}

export function listeningTooShort(record) {
  const wanted = record.protocol.listening_time;
  return listened(record).flatMap((period) => {
    const length = timeListened(period);
    if (length === null || length < 0 || length >= wanted) return [];
    const pause = paused(period) ? { pause: duration(paused(period)) } : {};
    return [
      breach(
        { stop: period.stop, field: "finished_at" },
        { stop: period.stop, length: duration(length), ...pause, wanted: duration(wanted) },
        paused(period) ? "pause" : "",
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
        { stop: period.stop, length: duration(length), longest: duration(longest) },
      ),
    ];
  });
}
