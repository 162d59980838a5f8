// What a recording is worth, from its samples: cut off, full of wind, nearly silent; its picture and its loudest
// pitch. Knows neither the page nor the microphone.
export const RATE_HZ = 16_000;
/** 32 ms: pitches 31 Hz apart. */
const SIZE = 512;
const BINS = SIZE / 2;
const BIN_HZ = RATE_HZ / SIZE;
const COLUMNS = 400;
// Wind and engines sound below, frogs and toads almost wholly above. Common practice, no source.
const LOW_BINS = Math.ceil(250 / BIN_HZ);
// Full scale is 1. What a phone cuts off comes near it again when it is unpacked. Common practice, no source.
const FULL = 0.97;
const MOST_CUT = 0.002;
// Levels are powers: 1 is a tone of full scale. Common practice, no source.
const WIND = { ratio: 10, level: 1e-4, share: 0.3 };
const SILENT = 1e-6;
const QUANTILE = 0.95;
const LEAST_RANGE_DB = 25;

const hann = Float64Array.from({ length: SIZE }, (_, i) => 0.5 - 0.5 * Math.cos((2 * Math.PI * i) / SIZE));
// A tone of full scale in the middle of a bin has power 1 there; a Hann window spreads it over 1.5 bins.
const SCALE = 4 / hann.reduce((sum, weight) => sum + weight, 0) ** 2;
const SPREAD = 1.5;

/**
 * Of mono samples at RATE_HZ: `advice`, some of "cut", "wind", "silent"; `loudestHz`, null where it is silent;
 * `columns`, of BINS inks each, 0 to 1, from low to high.
 */
export function check(samples) {
  const spectra = spectraOf(samples);
  const high = spectra.map((power) => band(power, LOW_BINS, BINS));
  const isSilent = quantile(high, QUANTILE) < SILENT;
  const found = { cut: isCut(samples), wind: isWindy(spectra, high), silent: isSilent };
  return {
    advice: Object.keys(found).filter((name) => found[name]),
    loudestHz: isSilent ? null : loudest(spectra),
    columns: inks(spectra),
  };
}

function isCut(samples) {
  const full = samples.reduce((count, sample) => count + (Math.abs(sample) >= FULL), 0);
  return full > MOST_CUT * samples.length;
}

function isWindy(spectra, high) {
  const windy = spectra.filter((power, i) => {
    const low = band(power, 1, LOW_BINS);
    return low > WIND.level && low > WIND.ratio * high[i];
  });
  return windy.length > WIND.share * spectra.length;
}

function loudest(spectra) {
  const sum = new Float64Array(BINS);
  for (const power of spectra) for (let bin = LOW_BINS; bin < BINS; bin++) sum[bin] += power[bin];
  return sum.indexOf(Math.max(...sum)) * BIN_HZ;
}

/** The louder, the more ink; what lies below the middle has none. */
function inks(spectra) {
  const levels = spectra.map((power) => power.map((one) => 10 * Math.log10(one + 1e-12)));
  const all = levels.flatMap((column) => [...column]);
  const floor = quantile(all, 0.5);
  const range = Math.max(quantile(all, 0.9995) - floor, LEAST_RANGE_DB);
  return levels.map((column) => column.map((level) => Math.min(1, Math.max(0, (level - floor) / range))));
}

function quantile(values, share) {
  const sorted = Float64Array.from(values).sort();
  return sorted[Math.floor(share * (sorted.length - 1))] ?? 0;
}

function band(power, from, to) {
  let sum = 0;
  for (let bin = from; bin < to; bin++) sum += power[bin];
  return sum / SPREAD;
}

/** Powers (BINS each) of at most COLUMNS stretches, spread over the whole. */
function spectraOf(samples) {
  const last = Math.max(samples.length - SIZE, 0);
  const step = Math.max(SIZE, last / (COLUMNS - 1));
  const count = Math.floor(last / step) + 1;
  return Array.from({ length: count }, (_, i) => powerAt(samples, Math.round(i * step)));
}

function powerAt(samples, begin) {
  const real = Float64Array.from(hann, (weight, i) => weight * (samples[begin + i] ?? 0));
  const imaginary = new Float64Array(SIZE);
  transform(real, imaginary);
  return Float64Array.from({ length: BINS }, (_, bin) => SCALE * (real[bin] ** 2 + imaginary[bin] ** 2));
}

/** The fast Fourier transform in place (Cooley & Tukey 1965), for lengths that are powers of two. */
function transform(real, imaginary) {
  const size = real.length;
  for (let i = 1, j = 0; i < size; i++) {
    let bit = size >> 1;
    for (; j & bit; bit >>= 1) j ^= bit;
    j ^= bit;
    if (i < j) for (const part of [real, imaginary]) [part[i], part[j]] = [part[j], part[i]];
  }
  for (let length = 2; length <= size; length *= 2)
    for (let begin = 0; begin < size; begin += length) butterflies(real, imaginary, begin, length);
}

function butterflies(real, imaginary, begin, length) {
  for (let k = 0; k < length / 2; k++) {
    const angle = (-2 * Math.PI * k) / length;
    const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
    const [even, odd] = [begin + k, begin + k + length / 2];
    const re = real[odd] * cos - imaginary[odd] * sin;
    const im = real[odd] * sin + imaginary[odd] * cos;
    real[odd] = real[even] - re;
    imaginary[odd] = imaginary[even] - im;
    real[even] += re;
    imaginary[even] += im;
  }
}
