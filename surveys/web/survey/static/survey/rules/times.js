// Rules on times: of the night, from stop to stop, and at one stop.
import { nightOf } from "../clock.js";
import { breach, instant, inTimeOrder, listened, paused, stopsByNumber, timeListened } from "./case.js";
import { distanceM } from "./distance.js";
import { clock, clocks, distance, duration, pause as pauseOf, speed } from "./params.js";

const READ_TO_THE_MINUTE = 60;
const CLOCK_SLACK_MS = 15 * 60_000;
const TIMES = ["arrived_at", "started_at", "finished_at"];

const writtenTimes = ({ visit }) =>
  visit.periods.flatMap((period) =>
    TIMES.filter((field) => period[field] != null).map((field) => [
      { stop: period.stop, field },
      instant(period[field]),
    ]),
  );
const beginField = (period) => (period.arrived_at == null ? "started_at" : "arrived_at");

export function timeOnAnotherNight(record) {
  const { visit, route } = record;
  return writtenTimes(record).flatMap(([where, at]) => {
    const night = nightOf(at, route.time_zone);
    if (night === visit.night) return [];
    return [
      breach(where, {
        time: clock(at),
        stop: where.stop,
        night: { date: night },
        visit_night: { date: visit.night },
      }),
    ];
  });
}

/** A clock may be a little ahead of the server's; more than that is impossible. */
export function futureTime(record) {
  const latest = instant(record.surroundings.now) + CLOCK_SLACK_MS;
  return writtenTimes(record)
    .filter(([, at]) => at > latest)
    .map(([where, at]) => breach(where, { time: clock(at), stop: where.stop }));
}

export function startBeforeArrival(record) {
  return listened(record).flatMap((period) => {
    const [arrived, started] = [instant(period.arrived_at), instant(period.started_at)];
    if (arrived === null || started === null || started >= arrived) return [];
    const [start, arrival] = clocks(started, arrived);
    const { stop } = period;
    return [breach({ stop, field: "started_at" }, { stop, start, arrival })];
  });
}

export function finishBeforeStart(record) {
  return listened(record).flatMap((period) => {
    const [started, finished] = [instant(period.started_at), instant(period.finished_at)];
    if (started === null || finished === null || finished > started) return [];
    const [end, start] = clocks(finished, started);
    const { stop } = period;
    return [breach({ stop, field: "finished_at" }, { stop, end, start })];
  });
}

export function pauseLongerThanListening(record) {
  return listened(record).flatMap((period) => {
    const length = timeListened(period);
    const isBelowZero = paused(period) < 0;
    if (!isBelowZero && (length === null || length >= 0)) return [];
    const { stop } = period;
    const params = { stop, pause: pauseOf(paused(period)) };
    return [breach({ stop, field: "paused_minutes" }, params, isBelowZero ? "below-zero" : "")];
  });
}

export function stopsOverlap(record) {
  let busy = null;
  return inTimeOrder(record).flatMap(([begin, period]) => {
    const found = [];
    const until = busy && instant(busy.finished_at);
    if (until !== null && begin < until) {
      const [start, end] = clocks(begin, until);
      const { stop } = period;
      found.push(breach({ stop, field: beginField(period) }, { stop, start, busy: busy.stop, end }));
    }
    const finished = instant(period.finished_at);
    if (finished !== null && (until === null || finished > until)) busy = period;
    return found;
  });
}

/** Straight-line speed between stops. Times are often written to the minute, so one minute is added
    to the time between. */
export function impossibleDrive(record) {
  const fastest = record.protocol.max_drive_kmh;
  const stops = stopsByNumber(record);
  const order = inTimeOrder(record);
  return order.slice(1).flatMap(([begin, later], before) => {
    const [, earlier] = order[before];
    const left = instant(earlier.finished_at);
    if (left === null || begin < left || !stops.has(earlier.stop) || !stops.has(later.stop)) return [];
    const meters = distanceM(stops.get(earlier.stop).place, stops.get(later.stop).place);
    const between = (begin - left) / 1000;
    if (meters / 1000 / ((between + READ_TO_THE_MINUTE) / 3600) <= fastest) return [];
    return [
      breach(
        { stop: later.stop, field: beginField(later) },
        {
          from: earlier.stop,
          to: later.stop,
          distance: distance(meters),
          between: duration(between),
          fastest: speed(fastest),
        },
      ),
    ];
  });
}

export function timesMissing(record) {
  const wanted = TIMES.slice(record.protocol.settling_wait == null ? 1 : 0);
  return listened(record).flatMap((period) =>
    wanted
      .filter((field) => period[field] == null)
      .map((field) => breach({ stop: period.stop, field }, { stop: period.stop, missing: { word: field } })),
  );
}

export function pauseNotRestarted(record) {
  if (record.protocol.interruption !== "restart") return [];
  return listened(record)
    .filter((period) => paused(period) > 0)
    .map((period) =>
      breach(
        { stop: period.stop, field: "paused_minutes" },
        { stop: period.stop, pause: pauseOf(paused(period)) },
      ),
    );
}

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
    const pause = paused(period) ? { pause: pauseOf(paused(period)) } : {};
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
