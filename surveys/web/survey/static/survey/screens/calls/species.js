// Which species can be written down tonight, and call indices in words.
import { gettext } from "../../language.js";
import { model, stopText } from "../../model.js";
import { callOf, inDays } from "../../rules/case.js";
import { CALL_INDEX } from "../../rules/codes.js";

export const NOT_SURE = "?";
export const isHeard = (text) => !["", "0"].includes(text);
export const isIndexed = (text) => isHeard(text) && callOf(text).index !== NOT_SURE;
/** Where the protocol has a listening radius, each call is near or far. */
export const DISTANCES = { near: gettext("near"), far: gettext("far") };

export function indexWords(text) {
  const { index, distance } = callOf(text);
  if (index === NOT_SURE) return gettext("heard, not sure");
  if (!isHeard(index)) return gettext("not heard");
  const meaning = CALL_INDEX.get(Number(index));
  const words = gettext("call index {index}, {meaning}", {
    index,
    meaning: meaning ? gettext(meaning) : gettext("not on the scale"),
  });
  return [words, DISTANCES[distance]].filter(Boolean).join(", ");
}

/** A call index as it is written, its mark in the reader's language: `2 far`. */
export function callWords(text) {
  const { index, distance } = callOf(text);
  return distance ? `${index} ${DISTANCES[distance]}` : index;
}

export const shortHint = (text) =>
  ["", gettext("single callers"), gettext("some overlap"), gettext("full chorus")][callOf(text).index] ?? "";

/**
 * What other entries of its group say of a species that is not written down at a stop; blank where
 * they say nothing. `typed(code)` is what is written of a species there.
 */
export function groupWords(species, typed) {
  if (isHeard(typed(species.code))) return "";
  // A call beyond the listening radius leaves nothing open within it.
  const isWritten = (code) => isHeard(typed(code)) && callOf(typed(code)).distance !== "far";
  if (species.members?.some(isWritten)) return gettext("heard, by the name of one of its species");
  const joint = model.packet.species.find(
    ({ code, members }) => members?.includes(species.code) && isWritten(code),
  );
  return joint ? gettext("open: recorded as {species}", { species: joint.common_name }) : "";
}

export const inSeason = ({ season }) => !season || inDays(model.visit.night, ...season);

/** The checklist, those first that are most likely tonight. */
export function checklist() {
  const { packet, tonight } = model;
  const byCode = new Map(packet.species.map((species) => [species.code, species]));
  return (tonight?.species ?? [...byCode.keys()]).map((code) => byCode.get(code)).filter(Boolean);
}

export function allSpecies() {
  const others = model.packet.others.map(([code, common_name, scientific_name]) => ({
    code,
    common_name,
    scientific_name,
  }));
  return [...model.packet.species, ...others];
}

/** Species that are written down at a stop, by code: one that nobody knows has its code as name. */
export function speciesAt(number) {
  const address = new RegExp(`^stops\\.${number}\\.calls\\.(.+)$`);
  const codes = [...model.cells.keys()].flatMap((cell) => cell.match(address)?.[1] ?? []);
  const known = new Map(allSpecies().map((species) => [species.code, species]));
  return codes.map((code) => known.get(code) ?? { code, common_name: code, scientific_name: "" });
}

/** What was heard at a stop, in words. */
export function heardAt(number) {
  const typed = stopText(number);
  return allSpecies()
    .map((species) => [species, typed(`calls.${species.code}`)])
    .filter(([, text]) => isHeard(text))
    .map(([species, text]) => `${species.common_name} ${callWords(text)}`);
}
