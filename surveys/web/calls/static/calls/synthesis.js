// Calls made by computer: males of a species, near and far, with wind, rain or a road behind them.
// Nothing but numbers goes in and samples come out, so that this runs anywhere, without a network.
import { chanceOf } from "./chance.js";

export const RATE_HZ = 22_050;
// As in surveys/sound/calls.py, which a test compares.
const TEMPO_PER_DEGREE = 0.055;
const TEMPO_CELSIUS = 20;
export const COLDEST = 5;
export const WARMEST = 32;
// How males differ: shares of their pitch and of their tempo.
const PITCH_SPREAD = 0.035;
const TEMPO_SPREAD = 0.05;
/** Males that call at a call index. */
export const MALES = { 1: 1, 2: 4, 3: 20 };
const EDGE_S = 0.004;
// The part of its time for which a pulse sounds.
const PULSE_SHARE = 0.6;
// A plucked note is down to a third after this share of its length.
const PLUCKED_SHARE = 0.35;
const NEAR_M = 10;
/** What a part of a call has that says nothing of it. */
const USUAL = { second_hz: 0, second_share: 0, pulse_rate: 0, notes: 1, note_every_s: [0, 0], then_s: 0 };
const LOUDEST = 0.8;
// Amplitude of the background beside that of one near male.
const BACKGROUND = 0.22;

const line = (celsius) => 1 + TEMPO_PER_DEGREE * (celsius - TEMPO_CELSIUS);

/** How many times as fast as at `atCelsius` a male calls. */
export const tempo = (celsius, atCelsius) =>
  line(Math.min(Math.max(celsius, COLDEST), WARMEST)) / line(atCelsius);

/**
 * Samples, 1 at most, of `voices`: calls as surveys/sound/calls.py has them, each with a call `index`
 * from 1 to 3. `celsius`: null for the temperature at which each call is known. `distance`: meters to the
 * nearest male. `behind`: "", "wind", "rain" or "road". The same `seed` gives the same sound.
 */
export function scene({ voices, celsius = null, seconds = 10, distance = NEAR_M, behind = "", seed = 1 }) {
  const samples = new Float32Array(Math.round(seconds * RATE_HZ));
  const random = chanceOf(seed);
  for (const { call, index } of voices) addMales(samples, { call, index, celsius, distance }, random);
  if (behind) addBackground(samples, behind, random);
  return leveled(samples);
}

function addMales(samples, { call, index, celsius, distance }, random) {
  const males = MALES[index];
  const isAlone = males === 1;
  const fast = tempo(celsius ?? call.at_celsius, call.at_celsius);
  for (let male = 0; male < males; male++) {
    // A single one calls exactly as its species is described.
    const pitch = isAlone ? 1 : 1 + PITCH_SPREAD * random.normal();
    const own = fast * (isAlone ? 1 : Math.max(0.5, 1 + TEMPO_SPREAD * random.normal()));
    const away = isAlone ? distance : distance * (1 + 3 * random.next());
    const sound = heardFrom(callOf(call, pitch, own), away);
    const every = call.every_s / own;
    let at = isAlone ? 0.3 : (random.next() - 0.5) * 2 * every;
    while (at * RATE_HZ < samples.length) {
      addAt(samples, sound, Math.round(at * RATE_HZ));
      at += every * (isAlone ? 1 : 1 + 0.1 * random.normal());
    }
  }
}

function addAt(samples, sound, first) {
  const begin = Math.max(0, -first);
  const end = Math.min(sound.length, samples.length - first);
  for (let i = begin; i < end; i++) samples[first + i] += sound[i];
}

/** One call of one male, amplitude 1. */
function callOf({ parts }, pitch, fast) {
  const places = [];
  let at = 0;
  for (const described of parts) {
    const part = { ...USUAL, ...described };
    const note = noteOf(part, pitch, fast);
    for (let number = 0; number < part.notes; number++) {
      places.push([at, note]);
      at += number < part.notes - 1 ? between(part.note_every_s, number, part.notes - 2) / fast : 0;
    }
    at += (part.note_s + part.then_s) / fast;
  }
  const [last, note] = places.at(-1);
  const sound = new Float32Array(Math.round(last * RATE_HZ) + note.length);
  for (const [begin, one] of places) addAt(sound, one, Math.round(begin * RATE_HZ));
  return sound;
}

const between = ([first, last], number, most) =>
  most > 0 ? first + ((last - first) * number) / most : first;

function noteOf(part, pitch, fast) {
  const size = Math.max(2, Math.round((part.note_s / fast) * RATE_HZ));
  const note = new Float32Array(size);
  const turn = (2 * Math.PI * pitch) / RATE_HZ;
  const [first, last] = part.pitch_hz;
  const loudest = 1 + part.second_share;
  const pulse = (part.pulse_rate * fast) / RATE_HZ;
  const edge = Math.min(EDGE_S * RATE_HZ, size / 4);
  let angle = 0;
  for (let i = 0; i < size; i++) {
    angle += turn * (first + ((last - first) * i) / size);
    let sound = Math.sin(angle);
    if (part.second_hz) sound += part.second_share * Math.sin(turn * part.second_hz * i);
    const strength = pulse ? pulsed((i * pulse) % 1) : 1;
    const fading = part.plucked ? Math.exp(-i / (size * PLUCKED_SHARE)) : 1;
    note[i] = ((sound * strength * fading) / loudest) * Math.min(1, i / edge, (size - 1 - i) / edge);
  }
  return note;
}

const pulsed = (share) => (share < PULSE_SHARE ? Math.sin((Math.PI * share) / PULSE_SHARE) ** 2 : 0);

const lowPassAt = (meters) => 1_000 + 200_000 / Math.max(NEAR_M, meters);

/** Weaker with distance, the high tones first. */
function heardFrom(sound, meters) {
  const gain = NEAR_M / Math.max(NEAR_M, meters);
  const kept = keptBelow(lowPassAt(meters));
  let level = 0;
  return sound.map((sample) => {
    level += kept * (sample - level);
    return gain * level;
  });
}

const NOISES = { wind, rain, road };
export const BACKGROUNDS = Object.keys(NOISES);

function addBackground(samples, behind, random) {
  const made = NOISES[behind](samples.length, random);
  const power = made.reduce((sum, sample) => sum + sample * sample, 0) / made.length;
  const gain = BACKGROUND / Math.sqrt(power);
  for (let i = 0; i < samples.length; i++) samples[i] += gain * made[i];
}

/** Low noise that comes and goes. */
function wind(size, random) {
  return lowNoise(size, random, 350).map((sample, i) => sample * swell(i, 0.23, 0.6));
}

/** High noise, and drops. */
function rain(size, random) {
  const kept = keptBelow(900);
  let level = 0;
  return Float32Array.from({ length: size }, () => {
    const white = (random.next() < 0.002 ? 6 : 1) * random.noise();
    level += kept * (white - level);
    return white - level;
  });
}

/** A car that passes. */
function road(size, random) {
  const middle = size / 2;
  return lowNoise(size, random, 700).map((sample, i) => {
    const away = ((i - middle) / (2.5 * RATE_HZ)) ** 2;
    return sample * (0.15 + 1 / (1 + away));
  });
}

/** How far a filter goes at each sample that lets pass what is below a pitch. */
const keptBelow = (pitch) => 1 - Math.exp((-2 * Math.PI * pitch) / RATE_HZ);

function lowNoise(size, random, pitch) {
  const kept = keptBelow(pitch);
  let level = 0;
  return Float32Array.from({ length: size }, () => {
    level += kept * (random.noise() - level);
    return level;
  });
}

const swell = (i, timesASecond, share) => 1 + share * Math.sin((2 * Math.PI * timesASecond * i) / RATE_HZ);

function leveled(samples) {
  let most = 0;
  for (const sample of samples) most = Math.max(most, Math.abs(sample));
  return most > 0 ? samples.map((sample) => (LOUDEST * sample) / most) : samples;
}
