// Reads the clock cells of a stop, as surveys/visits/sheet/clocks.py does.
import { instantsOf, localTime, parseClock, skippedTime } from "../clocktimes.js";
import { CellError, folded, shortened, unreadable } from "./texts.js";

const INSTANT = /^[0-9]{4}-[0-9]{2}-[0-9]{2}[t ]/i;
const ZONED = /(z|[+-]\d{2}(:?\d{2}(:?\d{2})?)?)$/i;
const NAMES_ITS_HALF = /[ap]\.?\s*m\.?$/i;
const [FIRST_YEAR, LAST_YEAR] = [1900, 2199];
const two = (number) => String(number).padStart(2, "0");
const timeOfDay = ([hour, minute]) => ({ time_of_day: `${two(hour)}:${two(minute)}` });

/** The instant in milliseconds. Raises CellError; one that is `ofFold` lacks only the fold. */
export function readClock(text, fold, { night, zone }) {
  if (INSTANT.test(text.trim())) return { instant: readInstant(text) };
  const read = parseClock(text);
  if (typeof read === "string") throw unreadable(read, text);
  const instants = instantsOf(text, night, zone);
  if (!instants.length) {
    const [later, earlier] = skippedTime(text, night, zone).map((one) => timeOfDay(localTime(one, zone)));
    throw new CellError("clock-skipped", "", { time: timeOfDay(read), later, earlier });
  }
  const chosen = instants.length > 1 ? ["first", "second"].indexOf(folded(fold)) : 0;
  if (chosen < 0)
    throw Object.assign(new CellError("clock-repeated", "", { time: timeOfDay(read) }), { ofFold: true });
  const byDay = read[0] >= 6 && read[0] < 16 && !NAMES_ITS_HALF.test(text.trim());
  return { instant: instants[chosen], byDay };
}

function readInstant(text) {
  const typed = text.trim().toUpperCase().replace(" ", "T");
  if (Number.isNaN(Date.parse(ZONED.test(typed.slice(10)) ? typed : `${typed}Z`)))
    throw unreadable("instant", text);
  if (!ZONED.test(typed.slice(10))) throw unreadable("time-zone", text);
  const year = Number(typed.slice(0, 4));
  if (year < FIRST_YEAR || year > LAST_YEAR)
    throw new CellError("cell-out-of-range", "instant", { typed: shortened(text) });
  return Date.parse(typed);
}

/** What is said of a time in the middle of the day. */
export function byDayError(text, instant, zone) {
  const [local, minute] = localTime(instant, zone);
  const hour = (local + 12) % 24;
  const other = `${two(hour)}:${two(minute)} or ${hour % 12 || 12}:${two(minute)} ${hour < 12 ? "am" : "pm"}`;
  return new CellError("clock-by-day", "", { typed: shortened(text), other });
}
