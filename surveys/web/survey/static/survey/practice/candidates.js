// What practice on the phone draws from: the packet that was saved last.
import { keptReferences } from "../references.js";
import { getAll } from "../store.js";
import { askedNow } from "./seasonal.js";

/** Packets of an earlier release hold nothing to practice with. */
export async function newestPacket(slug) {
  const packets = (await getAll("packets")).filter((packet) => packet.slug === slug && packet.practice);
  return packets.sort((one, other) => Date.parse(other.made_at) - Date.parse(one.made_at))[0];
}

/** A scope and those that are asked about on a night; with `isAll`, all. Recordings that are not on the phone are
    left out. */
export async function candidatesOf({ slug, practice, species, references }, night, isAll) {
  const kept = await keptReferences(slug, references);
  const here = practice.candidates
    .map((one) => ({ ...one, recordings: one.recordings.filter((id) => kept.has(id)) }))
    .filter(({ voices, recordings }) => voices.length || recordings.length);
  const seasons = new Map(species.map(({ code, season }) => [code, season]));
  return isAll ? { scope: "all", asked: here } : askedNow(here, seasons, night);
}
