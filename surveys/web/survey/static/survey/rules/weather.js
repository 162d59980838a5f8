// Rules on weather and noise. A limit is met, broken, or cannot be told: a stop without a reading
// of its own is covered when there is one from both the start and the end of the visit.
import { breach, LEAVE_IT, listened, windowOf } from "./case.js";
import { BEAUFORT, SKY_CODES } from "./codes.js";
import { compare, decimal, showTemperature, toCelsius } from "./decimal.js";
import { temperature } from "./words.js";

const BREAK_OFF = "If you are still out, break off and come back on another night.";

const limitOf =
  (name) =>
  ({ visit, protocol }) =>
    windowOf(visit.night, protocol)?.[name] ?? null;
const airLimit = limitOf("min_air_temperature");
const waterLimit = limitOf("min_water_temperature");

export const tooCold = (record) => colder(record, "air_temperature", airLimit(record), "air");
export const waterTooCold = (record) => colder(record, "water_temperature", waterLimit(record), "water");

export function tooWindy(record) {
  const most = record.protocol.max_beaufort;
  if (most === null) return [];
  const sign = BEAUFORT.find(([force]) => force === most)?.[2] ?? "";
  return readings(record, "beaufort", listened(record))
    .filter(([, force]) => force > most)
    .map(([where, force]) =>
      breach(
        where,
        `Wind force ${force}${at(where)} is above ${most} (${sign}), the strongest wind in which the protocol is run.`,
        `${BREAK_OFF} ${LEAVE_IT}`,
      ),
    );
}

export function wetSky(record) {
  const wet = record.protocol.wet_sky_codes;
  return readings(record, "sky", listened(record))
    .filter(([, code]) => wet.includes(code))
    .map(([where, code]) => {
      const words = SKY_CODES.has(code) ? ` (${SKY_CODES.get(code)})` : "";
      return breach(
        where,
        `With sky code ${code}${words}${at(where)} the protocol is not run.`,
        `${BREAK_OFF} ${LEAVE_IT}`,
      );
    });
}

export function noiseTooLoud(record) {
  const most = record.protocol.max_noise_index;
  if (most === null) return [];
  return listened(record)
    .filter(({ noise_index: noise }) => noise != null && noise > most)
    .map(({ stop, noise_index: noise }) =>
      breach(
        { stop, field: "noise_index" },
        `Noise index ${noise} at stop ${stop} is above ${most}, the most that the protocol allows.`,
        `If the noise may pass, wait and listen again. ${LEAVE_IT}`,
      ),
    );
}

export const temperatureMissing = (record) =>
  missing(record, airLimit(record), "air_temperature", "air temperature");
export const waterTemperatureMissing = (record) =>
  missing(record, waterLimit(record), "water_temperature", "water temperature");
export const windMissing = (record) =>
  missing(record, record.protocol.max_beaufort, "beaufort", "wind force");
export const skyMissing = (record) =>
  missing(record, record.protocol.wet_sky_codes.length || null, "sky", "sky code");
export const noiseMissing = (record) =>
  missing(record, record.protocol.max_noise_index, "noise_index", "noise index");

export function temperatureImplausible(record) {
  const bounds = record.protocol.plausible_temperature_c.map(decimal);
  const { periods } = record.visit;
  const all = [
    ...readings(record, "air_temperature", periods),
    ...readings(record, "water_temperature", periods),
  ];
  return all
    .filter(
      ([, reading]) =>
        compare(toCelsius(reading), bounds[0]) < 0 || compare(toCelsius(reading), bounds[1]) > 0,
    )
    .map(([where, reading]) => {
      const kind = where.field === "water_temperature" ? "water" : "air";
      const expected = bounds.map((bound) => showTemperature(bound, reading.unit)).join(" to ");
      return breach(
        where,
        `${asRead(reading)}${at(where)} is hard to believe for the ${kind}; expected is ${expected}.`,
        `Check the number, its sign and its unit (°C or °F). ${LEAVE_IT}`,
      );
    });
}

function colder(record, field, lowest, kind) {
  if (lowest === null) return [];
  const { name } = windowOf(record.visit.night, record.protocol);
  return readings(record, field, listened(record))
    .filter(([, reading]) => compare(toCelsius(reading), toCelsius(lowest)) < 0)
    .map(([where, reading]) =>
      breach(
        where,
        `${asRead(reading)}${at(where)} is below ${temperature(lowest, reading.unit)},` +
          ` the lowest ${kind} temperature of the window “${name}”.`,
        `Check the reading. ${BREAK_OFF} ${LEAVE_IT}`,
      ),
    );
}

/** Once for the visit where nothing was written at all, once where only the start or only the end
    has a reading, else at each stop without a reading. */
function missing(record, limit, field, words) {
  if (limit == null) return [];
  const periods = listened(record);
  const without = periods.filter((period) => period[field] == null);
  const [start, end] = [record.visit.start?.[field], record.visit.end?.[field]];
  if (!without.length || (start != null && end != null)) return [];
  const remedy = "Write it down if somebody noted it. Otherwise the coordinator decides.";
  const cannot = "so it cannot be told whether the limit was met.";
  if (without.length < periods.length) {
    return without.map(({ stop }) =>
      breach({ stop, field }, `Stop ${stop} has no ${words}, ${cannot}`, remedy),
    );
  }
  if (start == null && end == null)
    return [breach({ field }, `The visit has no ${words}, ${cannot}`, remedy)];
  const side = end == null ? "end" : "start";
  return [
    breach(
      { field: `${side}.${field}` },
      `The ${side} of the visit has no ${words}, nor have the stops, ${cannot}`,
      remedy,
    ),
  ];
}

/** Every place where a reading stands: start of the visit, stops, end of the visit. */
function readings({ visit }, field, periods) {
  return [
    [{ field: `start.${field}` }, visit.start?.[field]],
    ...periods.map((period) => [{ stop: period.stop, field }, period[field]]),
    [{ field: `end.${field}` }, visit.end?.[field]],
  ].filter(([, value]) => value != null);
}

const at = ({ stop, field }) =>
  stop != null ? ` at stop ${stop}` : ` at the ${field.split(".")[0]} of the visit`;
const asRead = (reading) => temperature(reading, reading.unit);
