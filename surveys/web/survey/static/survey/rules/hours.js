// Rules on the hours of the night: dusk, the last hour, a sun that does not set.
import { breach, instant, listened } from "./case.js";
import { clock, clocks } from "./params.js";

export function beforeDusk(record, { hours }) {
  const offset = record.protocol.earliest_start_after_sunset;
  return listened(record).flatMap((period) => {
    const [earliest, started] = [instant(hours[period.stop]?.earliest_start), instant(period.started_at)];
    if (offset === null || earliest === null || started === null || started >= earliest) return [];
    return [
      breach(
        { stop: period.stop, field: "started_at" },
        {
          stop: period.stop,
          start: clock(started),
          earliest: clock(earliest),
          limit: { from_sunset_s: offset },
        },
      ),
    ];
  });
}

export function afterLastHour(record, { hours }) {
  return listened(record).flatMap((period) => {
    const [latest, finished] = [instant(hours[period.stop]?.latest_end), instant(period.finished_at)];
    if (latest === null || finished === null || finished <= latest) return [];
    const [end, allowed] = clocks(finished, latest);
    return [breach({ stop: period.stop, field: "finished_at" }, { stop: period.stop, end, latest: allowed })];
  });
}

export function sunsetUnknown(record) {
  const { route, sky } = record;
  const known = new Set(route.stops.map(({ number }) => number));
  const dark = listened(record).filter(({ stop }) => known.has(stop) && !sky[stop]);
  const stops = [...new Set(dark.map(({ stop }) => stop))].sort((a, b) => a - b);
  return stops.length && needsSunset(record) ? [breach({}, { stops: { stops } })] : [];
}

const needsSunset = ({ protocol }) =>
  (protocol.earliest_start_after_sunset ?? protocol.latest_end_after_sunset) !== null;

export function sunDoesNotSet(record) {
  const { sky } = record;
  const sunless = listened(record).filter(({ stop }) => sky[stop] && (sky[stop].sunset ?? null) === null);
  const stops = [...new Set(sunless.map(({ stop }) => stop))].sort((a, b) => a - b);
  if (!needsSunset(record) || !stops.length) return [];
  return [breach({}, { stops: { stops } })];
}
