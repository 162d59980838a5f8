// What was heard in a question, in words.
import { gettext } from "../language.js";
import { tempo } from "../../calls/synthesis.js";
import { distance, listed, unbrokenDegrees } from "../rules/words.js";

const BEHIND = { wind: gettext("wind"), rain: gettext("rain"), road: gettext("a passing car") };
const REAL = new Intl.NumberFormat(document.documentElement.lang || "en");

/** Which species called with which index, how far away, and what else was to be heard. */
export function playedWords({ voices, distance: meters, behind, recording }, names, unit) {
  if (recording) return gettext("A recording of {species}.", { species: names.get(voices[0].species) });
  const called = voices.map(({ species, index }) =>
    gettext("{species} (call index {index})", { species: names.get(species), index }),
  );
  const words = [
    gettext("You heard {species}.", { species: listed(called) }),
    gettext("Nearest male: {distance}.", { distance: distance(meters, unit) }),
    behind && gettext("Other noise: {noise}.", { noise: BEHIND[behind] }),
  ];
  return words.filter(Boolean).join(" ");
}

/** Pitch and pulses of a call at a temperature: the words of surveys/web/calls/shown.py. */
export function callWords(call, celsius) {
  const rates = call.parts.map(({ pulse_rate: rate }) => rate).filter(Boolean);
  const values = {
    celsius: Math.round(celsius),
    fahrenheit: Math.round(celsius * 1.8 + 32),
    pitches: listed(call.parts.map(pitchWords)),
  };
  const rate = rates.length && Math.round(rates[0] * tempo(celsius, call.at_celsius));
  const words = rates.length
    ? gettext("At {celsius} °C ({fahrenheit} °F): {pitches} Hz, {rate} pulses a second.", { ...values, rate })
    : gettext("At {celsius} °C ({fahrenheit} °F): {pitches} Hz.", values);
  return unbrokenDegrees(words);
}

function pitchWords({ pitch_hz: [begin, end], second_hz: second }) {
  const [first, last] = [begin, end].map((pitch) => REAL.format(Math.round(pitch)));
  let told = first;
  if (begin < end) told = gettext("rising from {first} to {last}", { first, last });
  if (begin > end) told = gettext("falling from {first} to {last}", { first, last });
  if (!second) return told;
  const other = REAL.format(Math.round(second));
  return gettext("{first} together with {second}", { first: told, second: other });
}
