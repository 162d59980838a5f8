// The one clock of the survey: wall time, so that a countdown is right after the phone slept.
let read = () => Date.now();

/** Milliseconds since 1970. */
export function now() {
  return read();
}

/** Put another clock in, for tests; without one, the phone's own again. */
export function setClock(reader) {
  read = reader ?? (() => Date.now());
}

/** The instant as it goes into a cell: 2024-04-16T02:14:09.120Z. */
export function iso(instant = now()) {
  return new Date(instant).toISOString();
}

/** The date of the evening that holds the instant: a night runs from noon to noon. */
export function nightOf(instant, zone) {
  const parts = {
    timeZone: zone,
    year: "numeric",
    month: "2-digit",
    day: "2-digit",
    hour: "2-digit",
    hourCycle: "h23",
  };
  const local = Object.fromEntries(
    new Intl.DateTimeFormat("en-GB", parts).formatToParts(instant).map(({ type, value }) => [type, value]),
  );
  const date = new Date(Date.UTC(local.year, local.month - 1, local.day));
  if (Number(local.hour) < 12) date.setUTCDate(date.getUTCDate() - 1);
  return date.toISOString().slice(0, 10);
}

/** A function that tells by how many milliseconds the clock leapt ahead of the time that passed since
    it was last asked. It leaps when somebody sets it, and on some phones when they slept: there the
    other clock stands still meanwhile, so the two cannot be told apart. */
export function leaps() {
  const ahead = () => now() - performance.now();
  let before = ahead();
  return () => {
    const leapt = ahead() - before;
    before += leapt;
    return leapt;
  };
}
