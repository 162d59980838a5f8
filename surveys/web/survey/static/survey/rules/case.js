// What the rules read from a case. A case has the plain form of surveys/protocol/plain.py.
export const LEAVE_IT = "If it is right, leave it: the coordinator decides whether it counts.";

export const listened = (rules) => rules.visit.periods.filter((period) => (period.status ?? "listened") === "listened");
export const unit = (rules) => rules.route.temperature_unit ?? "C";
export const distanceUnit = (rules) => rules.route.distance_unit ?? "km";
export const instant = (text) => (text == null ? null : Date.parse(text));
export const paused = (period) => period.paused ?? 0;

export function breach(where, message, remedy) {
  return { stop: null, field: null, species: null, ...where, message, remedy };
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
