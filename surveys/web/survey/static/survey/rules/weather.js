// Rules on weather and noise. A limit is met, broken, or cannot be told: a stop without a reading
// of its own is covered when there is one from both the start and the end of the visit.
import { breach, listened, windowOf } from "./case.js";
import { BEAUFORT, NOISE } from "./codes.js";
import { compare, decimal, toCelsius } from "./decimal.js";
import { celsius, place, temperature } from "./params.js";

const limitOf =
  (name) =>
  ({ visit, protocol }) =>
    windowOf(visit.night, protocol)?.[name] ?? null;
const airLimit = limitOf("min_air_temperature");
const waterLimit = limitOf("min_water_temperature");

export const tooCold = (record) => colder(record, "air_temperature", airLimit(record));
export const waterTooCold = (record) => colder(record, "water_temperature", waterLimit(record));

export function tooWindy(record) {
  const most = record.protocol.max_beaufort;
  if (most === null) return [];
  return readings(record, "beaufort", listened(record))
    .filter(([, force]) => force > most)
    .map(([where, force]) => breach(where, { force, place: place(where), most, sign: { wind_sign: most } }));
}

export function wetSky(record) {
  const forbidden = record.protocol.forbidden_skies;
  return readings(record, "sky", listened(record))
    .filter(([, sky]) => forbidden.includes(sky))
    .map(([where, sky]) => breach(where, { sky: { sky }, place: place(where) }));
}

export function outInThunder(record) {
  return readings(record, "sky", listened(record))
    .filter(([, sky]) => sky === "thunder")
    .map(([where]) => breach(where, { place: place(where) }));
}

export function noiseTooLoud(record) {
  const most = record.protocol.loudest_noise;
  if (most === null) return [];
  const step = (noise) => NOISE.findIndex(([effect]) => effect === noise);
  return listened(record)
    .filter(({ noise }) => noise != null && step(noise) > step(most))
    .map(({ stop, noise }) =>
      breach({ stop, field: "noise" }, { noise: { noise }, stop, most: { noise: most } }),
    );
}

export const temperatureMissing = (record) => missing(record, airLimit(record), "air_temperature");
export const waterTemperatureMissing = (record) => missing(record, waterLimit(record), "water_temperature");
export const windMissing = (record) => missing(record, record.protocol.max_beaufort, "beaufort");
export const skyMissing = (record) => missing(record, record.protocol.forbidden_skies.length || null, "sky");
export const noiseMissing = (record) => missing(record, record.protocol.loudest_noise, "noise");

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
      const [lowest, highest] = bounds.map(celsius);
      const kind = { word: where.field === "water_temperature" ? "water" : "air" };
      return breach(where, { reading: temperature(reading), place: place(where), kind, lowest, highest });
    });
}

export function unknownWindForce(record) {
  const last = BEAUFORT.at(-1)[0];
  return readings(record, "beaufort", record.visit.periods)
    .filter(([, force]) => force < 0 || force > last)
    .map(([where, force]) => breach(where, { force, place: place(where), last }));
}

function colder(record, field, lowest) {
  if (lowest === null) return [];
  const { name } = windowOf(record.visit.night, record.protocol);
  return readings(record, field, listened(record))
    .filter(([, reading]) => compare(toCelsius(reading), toCelsius(lowest)) < 0)
    .map(([where, reading]) =>
      breach(where, {
        reading: temperature(reading),
        place: place(where),
        lowest: temperature(lowest),
        window: name,
      }),
    );
}

/** Once for the visit where nothing was written at all, once where only the start or only the end
    has a reading, else at each stop without a reading. */
function missing(record, limit, field) {
  if (limit == null) return [];
  const periods = listened(record);
  const without = periods.filter((period) => period[field] == null);
  const [start, end] = [record.visit.start?.[field], record.visit.end?.[field]];
  if (!without.length || (start != null && end != null)) return [];
  const reading = { word: field };
  if (without.length < periods.length) {
    return without.map(({ stop }) => breach({ stop, field }, { stop, reading }));
  }
  if (start == null && end == null) return [breach({ field }, { reading }, "visit")];
  const side = end == null ? "end" : "start";
  return [breach({ field: `${side}.${field}` }, { side: { word: side }, reading }, "side")];
}

/** Every place where a reading stands: start of the visit, stops, end of the visit. */
function readings({ visit }, field, periods) {
  return [
    [{ field: `start.${field}` }, visit.start?.[field]],
    ...periods.map((period) => [{ stop: period.stop, field }, period[field]]),
    [{ field: `end.${field}` }, visit.end?.[field]],
  ].filter(([, value]) => value != null);
}
