// Opens what is to be corrected at a stop.
import { openTile } from "../../leading.js";

const TIMES = ["arrived_at", "started_at", "finished_at"];

/** `field` and `species` as a finding names them. */
export async function revealAt(node, number, later, { field, species }) {
  if (species) return showSpecies(node, species);
  const time = field?.replace(".fold", "");
  if (TIMES.includes(time)) {
    await later.openTimes();
    return document.getElementById(`time-${time}`)?.focus();
  }
  return field && openTile(node, `stops.${number}.${field}`);
}

function showSpecies(node, species) {
  const row = node.querySelector(`[data-species="${species}"]`);
  row?.closest("details")?.setAttribute("open", "");
  row?.scrollIntoView({ block: "center" });
  row?.focus({ preventScroll: true });
}
