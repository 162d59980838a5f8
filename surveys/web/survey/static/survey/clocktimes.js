// Clock times as they were typed, read the way the server reads them: a night runs from noon to
// noon, and where the clocks go back a time can come twice.
const SEPARATED = /^(\d{1,2})\s*[:.h]\s*(\d{2})(?:[:.](\d{2}))?$/;
const DIGITS = /^(\d{1,2})(\d{2})$/;
const HOUR = /^(\d{1,2})$/;
const HALF = /\s*([ap])\.?\s*m\.?$/;
const NAMED = { noon: [12, 0, 0], midnight: [0, 0, 0] };
const INSTANT = /^\d{4}-\d{2}-\d{2}[t ]/i;
const DAY_MS = 86_400_000;
const formats = new Map();

/** Hour, minute, second of `21:14`, `2114`, `9:14 pm`, `noon`; null when it is no clock time. */
function parse(text) {
  const typed = text.trim().toLowerCase();
  if (NAMED[typed]) return NAMED[typed];
  const half = HALF.exec(typed);
  const digits = half ? typed.slice(0, half.index) : typed;
  const match = SEPARATED.exec(digits) ?? DIGITS.exec(digits) ?? (half && HOUR.exec(digits));
  if (!match) return null;
  let [hour, minute, second] = [1, 2, 3].map((i) => Number(match[i] ?? 0));
  if (half) {
    if (hour < 1 || hour > 12) return null;
    hour = (hour % 12) + (half[1] === "p" ? 12 : 0);
  }
  if (hour === 24 && minute === 0 && second === 0) hour = 0;
  return hour > 23 || minute > 59 || second > 59 ? null : [hour, minute, second];
}

/** What a clock of the zone shows, as if it were UTC, in milliseconds without parts of a second. */
function shownAt(instant, zone) {
  if (!formats.has(zone)) {
    const part = "2-digit";
    formats.set(
      zone,
      new Intl.DateTimeFormat("en-GB", {
        timeZone: zone,
        year: "numeric",
        month: part,
        day: part,
        hour: part,
        minute: part,
        second: part,
        hourCycle: "h23",
      }),
    );
  }
  const at = Object.fromEntries(
    formats
      .get(zone)
      .formatToParts(instant)
      .map(({ type, value }) => [type, Number(value)]),
  );
  return Date.UTC(at.year, at.month - 1, at.day, at.hour, at.minute, at.second);
}

/** Every instant of the night at which the clocks showed it: none, one, or two. */
export function instantsOf(text, night, zone) {
  const read = parse(text);
  if (!read) return [];
  const [year, month, day] = night.split("-").map(Number);
  const shown = Date.UTC(year, month - 1, day + (read[0] < 12 ? 1 : 0), ...read);
  const offsets = new Set([shown - DAY_MS, shown + DAY_MS].map((near) => shownAt(near, zone) - near));
  return [...offsets]
    .map((offset) => shown - offset)
    .filter((instant) => shownAt(instant, zone) === shown)
    .sort((a, b) => a - b);
}

/** The instant of a clock cell and its fold, in milliseconds; null when nobody can tell. */
export function readTime(text, fold, { night, zone }) {
  const typed = text.trim();
  if (INSTANT.test(typed)) {
    const instant = Date.parse(typed);
    return Number.isNaN(instant) ? null : instant;
  }
  const instants = instantsOf(typed, night, zone);
  if (instants.length < 2) return instants[0] ?? null;
  return { first: instants[0], second: instants[1] }[fold.trim().toLowerCase()] ?? null;
}
