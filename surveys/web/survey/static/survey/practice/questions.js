// Which question of practice is drawn from a seed: the twin of surveys/sound/questions.py.
import { chanceOf } from "../../calls/chance.js";
import { BACKGROUNDS, COLDEST, WARMEST } from "../../calls/synthesis.js";

export const WHICH_ONE = "which-one";
export const WHICH_OF_THESE = "which-of-these";
export const WHICH_INDEX = "which-index";
export const CHOICES = 4;
const DISTANCES = [10, 25, 60];
const RECORDED_SHARE = 0.5;
const NEW = { right: 0, wrong: 0, named_instead: {} };

/**
 * A question about `candidates`, most likely about what the learner confuses. `tallies`: by species, what
 * they know; `calls`: by species, the call that is made. null without candidates.
 */
export function drawPractice(candidates, tallies, calls, seed) {
  if (!candidates.length) return null;
  const chance = chanceOf(seed);
  const known = ({ species }) => tallies[species] ?? NEW;
  const drawn = candidates.map((one) => chance.beta(known(one).right, known(one).wrong));
  const asked = candidates[drawn.indexOf(Math.min(...drawn))];
  const kind = kindOf(asked, candidates, chance);
  const others = likelyMistakes(asked, candidates, known(asked), chance);
  const [voices, choices] = asking(kind, asked, others, chance);
  const recording = kind === WHICH_ONE ? recordingOf(asked, chance) : "";
  return question({ kind, voices, choices, recording }, calls, chance);
}

function kindOf(asked, candidates, chance) {
  const kinds = [];
  if (candidates.length > 1) kinds.push(WHICH_ONE, WHICH_ONE);
  if (asked.voices.length && candidates.length > 2) kinds.push(WHICH_OF_THESE);
  if (asked.voices.length) kinds.push(WHICH_INDEX);
  return chance.choice(kinds.length ? kinds : [WHICH_ONE]);
}

/** The other species: first what the learner named instead, then look-alikes, then any. */
function likelyMistakes(asked, candidates, tally, chance) {
  const named = ({ species }) => tally.named_instead[species] ?? 0;
  const isAlike = ({ species }) => Number(asked.alike.includes(species));
  const others = chance.shuffled(candidates.filter((one) => one !== asked));
  return others.sort((one, other) => named(other) - named(one) || isAlike(other) - isAlike(one));
}

/** Those that call, and those to choose from. */
function asking(kind, asked, others, chance) {
  if (kind === WHICH_ONE) return [[asked], [asked, ...others.slice(0, CHOICES - 1)]];
  if (kind === WHICH_INDEX) return [[asked], [asked]];
  const near = others.slice(0, CHOICES);
  const withVoice = near.filter(({ voices }) => voices.length);
  return [
    [asked, ...withVoice.slice(0, chance.choice([0, 1, 1, 2]))],
    [asked, ...near],
  ];
}

function recordingOf({ recordings, voices }, chance) {
  if (!recordings.length || (voices.length && chance.next() >= RECORDED_SHARE)) return "";
  return chance.choice(recordings);
}

/** What is drawn here stands in the order in which the server draws it. */
function question({ kind, voices, choices, recording }, calls, chance) {
  const heard = recording
    ? [{ species: voices[0].species, made_as: "", index: null }]
    : voices.map(({ species, voices: made }) => ({
        species,
        made_as: chance.choice(made),
        index: chance.choice([1, 2, 3]),
      }));
  const shown = chance.shuffled(choices.map(({ species }) => species));
  const behind = chance.choice(["", "", ...BACKGROUNDS]);
  const celsius = temperature(heard, calls, chance);
  const distance = chance.choice(DISTANCES);
  const seed = 1 + chance.whole(2 ** 31 - 1);
  return { kind, voices: heard, choices: shown, celsius, distance, behind, recording, seed };
}

/** Near those at which the calls are known, in whole °C. */
function temperature(voices, calls, chance) {
  const known = voices.filter(({ made_as }) => made_as).map(({ made_as }) => calls[made_as].at_celsius);
  const sum = known.reduce((total, one) => total + one, 0);
  const middle = known.length ? sum / known.length : chance.between(10, 20);
  return Math.floor(Math.min(Math.max(middle + chance.between(-3, 3), COLDEST), WARMEST) + 0.5);
}
