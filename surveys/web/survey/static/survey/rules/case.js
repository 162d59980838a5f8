// What the rules read from a record: a visit with its route, protocol and sky, in the plain form
// of surveys/protocol/plain.py. Protocol and route come from the server and are whole; in a visit
// a key may be left out.
export const listened = (record) =>
  record.visit.periods.filter((period) => (period.status ?? "listened") === "listened");
export const instant = (text) => (text == null ? null : Date.parse(text));
export const paused = (period) => period.paused ?? 0;

export const stopsByNumber = ({ route }) => new Map(route.stops.map((stop) => [stop.number, stop]));

/** The listened periods that have a beginning, each with it, earliest first. */
export function inTimeOrder(record) {
  return listened(record)
    .map((period) => [instant(period.arrived_at) ?? instant(period.started_at), period])
    .filter(([begin]) => begin !== null)
    .sort(([a], [b]) => a - b);
}

/** One place where a rule is broken. `variant` and `params` are those of its sentence. */
export function breach(where, params, variant = "") {
  return { stop: null, field: null, species: null, ...where, variant, params };
}

/** A call as it is written, `2` or `2 far`: its index as text, and near or far if it says so. */
export function callOf(text) {
  const typed = text.trim();
  const [, index, distance] = /^([\d.,]+|\?)\s*(n|near|f|far)$/i.exec(typed) ?? ["", typed, ""];
  return { index, distance: distance && (/^n/i.test(distance) ? "near" : "far") };
}

/** Seconds listened without the pauses; null when a time is missing or impossible. */
export function timeListened(period) {
  const [start, end] = [instant(period.started_at), instant(period.finished_at)];
  if (start === null || end === null || end <= start) return null;
  return (end - start) / 1000 - paused(period);
}

/** Whether a date lies in the days of the year `first` to `last`, which may cross New Year. */
export function inDays(date, first, last) {
  const day = date.slice(5);
  return first <= last ? first <= day && day <= last : day >= first || day <= last;
}

export function windowOf(night, protocol) {
  return protocol.windows.find((window) => inDays(night, window.opens, window.closes)) ?? null;
}
