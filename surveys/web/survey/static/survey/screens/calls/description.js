// How a species sounds, and what is taken for it: for an ear that is not sure.
import { dialog, h } from "../../dom.js";
import { gettext } from "../../language.js";
import { model } from "../../model.js";
import { HEARING, hearing } from "./hearing.js";
import { allSpecies } from "./species.js";

/** Whether anything is known of its sound. */
export const isDescribed = (species) => Boolean(species.call || species.note || groupsOf(species).length);

export function showDescription(species) {
  const named = new Map(allSpecies().map(({ code, common_name }) => [code, common_name]));
  const groups = groupsOf(species).map((group) => groupNode(species, group, named));
  const heardAs = [species.code, ...(species.members ?? [])];
  const own = hearing(heardAs, named, species.members?.length > 0);
  dialog(
    species.common_name,
    species.call && h("p", null, gettext("Call: {call}.", { call: species.call })),
    own,
    own && h("p", { class: "small" }, HEARING),
    species.is_high && h("p", null, HIGH),
    species.note && h("p", null, gettext("Note: {note}.", { note: species.note })),
    groups.length > 0 && h("h3", null, gettext("Sounds like it")),
    ...groups,
  );
}

const HIGH = gettext(
  "Very high: many people do not hear tones above 4,000 Hz well. If you do not, tell your coordinator.",
);

/** Packets of an earlier release hold no look-alikes. */
function groupsOf(species) {
  const heardAs = [species.code, ...(species.members ?? [])];
  return (model.packet.look_alikes ?? []).filter(({ members }) =>
    heardAs.some((code) => members.includes(code)),
  );
}

function groupNode(species, { name, how, members, other_sounds }, named) {
  const heardAs = [species.code, ...(species.members ?? [])];
  const others = members.filter((code) => !heardAs.includes(code) && named.has(code));
  const words = [...others.map((code) => named.get(code)), ...other_sounds];
  return h(
    "section",
    null,
    h("h4", null, name),
    h("p", null, how),
    words.length > 0 &&
      h("p", { class: "small muted" }, gettext("Others: {sounds}.", { sounds: words.join(", ") })),
    hearing(others, named, true),
  );
}
