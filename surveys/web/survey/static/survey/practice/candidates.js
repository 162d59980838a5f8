// What practice on the phone draws from: the packet that was saved last.
import { inDays } from "../rules/case.js";
import { keptReferences } from "../references.js";
import { getAll } from "../store.js";

/** Packets of an earlier release hold nothing to practice with. */
export async function newestPacket(slug) {
  const packets = (await getAll("packets")).filter((packet) => packet.slug === slug && packet.practice);
  return packets.sort((one, other) => Date.parse(other.made_at) - Date.parse(one.made_at))[0];
}

/** Those that call on a night come first; where none does, or with `isAll`, all. Recordings that are not on
    the phone are left out. */
export async function candidatesOf({ slug, practice, species, references }, night, isAll) {
  const kept = await keptReferences(slug, references);
  const here = practice.candidates
    .map((one) => ({ ...one, recordings: one.recordings.filter((id) => kept.has(id)) }))
    .filter(({ voices, recordings }) => voices.length || recordings.length);
  const seasons = new Map(species.map(({ code, season }) => [code, season]));
  const calls = (code) => !seasons.get(code) || inDays(night, ...seasons.get(code));
  const calling = here.filter((one) => calls(one.species));
  return isAll || !calling.length ? here : calling;
}
