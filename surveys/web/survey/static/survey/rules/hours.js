// Rules on the hours of the night: dusk, the last hour, a sun that does not set.
import { breach, instant, LEAVE_IT, listened } from "./case.js";
import { clock, clockUp, duration, stopNumbers } from "./words.js";

export function beforeDusk(record, { hours }) {
  const offset = record.protocol.earliest_start_after_sunset;
  const zone = record.route.time_zone;
  return listened(record).flatMap((period) => {
    const [earliest, started] = [instant(hours[period.stop]?.earliest_start), instant(period.started_at)];
    if (offset === null || earliest === null || started === null || started >= earliest) return [];
    return [
      breach(
        { stop: period.stop, field: "started_at" },
        `The listening at stop ${period.stop} starts at ${clock(started, zone)}; the earliest start is` +
          ` ${clock(earliest, zone)} (${afterSunset(offset)}).`,
        `Check the time. If you are at the stop, wait and begin again. ${LEAVE_IT}`,
      ),
    ];
  });
}

export function afterLastHour(record, { hours }) {
  const zone = record.route.time_zone;
  return listened(record).flatMap((period) => {
    const [latest, finished] = [instant(hours[period.stop]?.latest_end), instant(period.finished_at)];
    if (latest === null || finished === null || finished <= latest) return [];
    return [
      breach(
        { stop: period.stop, field: "finished_at" },
        `The listening at stop ${period.stop} ends at ${clockUp(finished, zone)};` +
          ` the latest end is ${clock(latest, zone)}.`,
        `Check the time. ${LEAVE_IT}`,
      ),
    ];
  });
}

export function sunDoesNotSet(record) {
  const { protocol, sky } = record;
  const needed = (protocol.earliest_start_after_sunset ?? protocol.latest_end_after_sunset) !== null;
  const sunless = listened(record).filter(({ stop }) => sky[stop] && (sky[stop].sunset ?? null) === null);
  const stops = [...new Set(sunless.map(({ stop }) => stop))].sort((a, b) => a - b);
  if (!needed || !stops.length) return [];
  return [
    breach(
      {},
      `The sun does not set or does not rise here on this night (${stopNumbers(stops)}),` +
        " so it cannot be told whether the hours meet the protocol.",
      "Nothing needs mending. The coordinator judges the hours.",
    ),
  ];
}

function afterSunset(offset) {
  if (offset < 0) return `${duration(-offset)} before sunset`;
  return offset ? `${duration(offset)} after sunset` : "sunset";
}
