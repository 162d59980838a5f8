// After an answer: what called, what was named, and what there was to hear.
import { h } from "../../dom.js";
import { gettext } from "../../language.js";
import { WHICH_INDEX } from "../../practice/questions.js";
import { compare, isRight } from "../../practice/scoring.js";
import { callWords, playedWords } from "../../practice/words.js";
import { INDEX_WORDS } from "./asking.js";

/** The sentence that says whether it was right, and the node with everything else. */
export function feedback(packet, names, question, named) {
  const rows = compare(question.voices, named);
  rows.sort((one, other) => Number(other.was_there) - Number(one.was_there));
  const played = playedWords(question, names, packet.route.distance_unit);
  return {
    sentence: sentenceOf(question, rows),
    node: h(
      "div",
      null,
      h("p", null, played),
      rows.map((row) => speciesNode(packet, names, question, rows, row)),
    ),
  };
}

function sentenceOf({ kind }, rows) {
  if (rows.every(isRight)) return gettext("Yes, that is right.");
  if (kind === WHICH_INDEX) return gettext("Not quite. Listen again: can you count the males?");
  if (rows.some((row) => row.was_there && row.was_named))
    return gettext("Partly right. Listen again with the words below.");
  return gettext("Not this time. Listen again with the words below.");
}

function verdict({ kind }, row) {
  if (!row.was_there) return gettext("You named it. It did not call.");
  if (!row.was_named) return gettext("It called. You did not name it.");
  if (kind !== WHICH_INDEX) return gettext("It called, and you named it.");
  const [there, chosen] = [INDEX_WORDS[row.index_there], INDEX_WORDS[row.index_named]];
  return isRight(row) ? there : gettext("It was: {there}. You chose: {named}.", { there, named: chosen });
}

function speciesNode(packet, names, question, rows, row) {
  const species = packet.species.find(({ code }) => code === row.species);
  const made = question.voices.find((voice) => voice.species === row.species)?.made_as || row.species;
  const call = !question.recording && packet.calls[made]?.call;
  return h(
    "section",
    { class: "panel" },
    h("h3", null, names.get(row.species)),
    h("p", null, h("strong", null, verdict(question, row))),
    species.call && h("p", null, gettext("Listen for: {call}.", { call: species.call })),
    call && h("p", { class: "small muted" }, callWords(call, question.celsius)),
    differences(packet, species, rows).map((how) => h("p", null, how)),
  );
}

/** How it differs from the others of the answer. */
function differences(packet, species, rows) {
  const heardAs = ({ code, members = [] }) => (members.length ? members : [code]);
  const codes = rows.map((row) => row.species).filter((code) => code !== species.code);
  const others = packet.species.filter(({ code }) => codes.includes(code)).flatMap(heardAs);
  const own = heardAs(species);
  return packet.look_alikes
    .filter(({ members }) => own.some((code) => members.includes(code)))
    .filter(({ members }) => others.some((code) => members.includes(code)))
    .map(({ how }) => how);
}
