// Rules on the night: its season window.
import { breach, windowOf } from "./case.js";

export function outsideWindow({ visit, protocol }) {
  if (!protocol.windows.length || windowOf(visit.night, protocol)) return [];
  const windows = protocol.windows.map(({ name, opens, closes }) => ({ window: { name, opens, closes } }));
  return [breach({ field: "night" }, { night: { date: visit.night }, windows: { and: windows } })];
}
