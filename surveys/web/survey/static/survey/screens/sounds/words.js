// Recordings in words.
import { gettext } from "../../language.js";
import { model } from "../../model.js";
import { whereWords } from "../../recordings.js";
import { clock, duration } from "../../rules/words.js";

export const KINDS = { voucher: gettext("Voucher recording"), note: gettext("Voice note") };

/** Code and name of all species and groups that a recording may be of. */
export const allSpecies = () => [
  ...model.packet.species.map(({ code, common_name: name }) => [code, name]),
  ...model.packet.others,
];

export function speciesName({ species }) {
  if (!species) return gettext("unknown");
  return allSpecies().find(([code]) => code === species)?.[1] ?? species;
}

export function titleOf(recording, withStop) {
  const stop = withStop && recording.stop ? gettext("Stop {stop}: ", { stop: recording.stop }) : "";
  const unnamed = gettext("Species unknown");
  const subject =
    recording.kind === "voucher" ? (recording.species ? speciesName(recording) : unnamed) : KINDS.note;
  return `${stop}${subject}`;
}

export const clockOf = ({ begun_at: begun }) => clock(Date.parse(begun), model.route.time_zone);
export const lengthOf = ({ seconds }) => duration(Math.max(1, Math.round(seconds)));
export const factsOf = (recording) =>
  `${clockOf(recording)}, ${lengthOf(recording)}. ${whereWords(recording)}`;

/** Seconds as a player shows them: `1:05`. */
export function minutesAndSeconds(seconds) {
  const whole = Math.floor(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
