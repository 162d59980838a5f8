// Rules on the night: its season window.
import { breach, LEAVE_IT, windowOf } from "./case.js";
import { day, listed, monthDay } from "./words.js";

export function outsideWindow({ visit, protocol }) {
  if (!protocol.windows.length || windowOf(visit.night, protocol)) return [];
  const windows = protocol.windows.map((w) => `${w.name} (${monthDay(w.opens)} to ${monthDay(w.closes)})`);
  return [
    breach(
      { field: "night" },
      `The night of ${day(visit.night)} is in no season window. The windows are ${listed(windows)}.`,
      `Check the date: a night has the date of its evening. ${LEAVE_IT}`,
    ),
  ];
}
