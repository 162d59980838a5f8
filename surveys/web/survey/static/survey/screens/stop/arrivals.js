// Arriving at a stop: said by the observer, or noticed by the position.
import { gettext } from "../../language.js";
import * as alerts from "../../alerts.js";
import { iso, now } from "../../clock.js";
import { model, note } from "../../model.js";
import { isThere, placeCells } from "../../place.js";
import { clock } from "../../rules/words.js";

/** The cells of the position at a stop, by the names that they have there. */
export function positionCells(number) {
  const cells = Object.entries(placeCells(number, now()));
  return Object.fromEntries(cells.map(([address, text]) => [address.split(".").at(-1), text]));
}

export function arrivals(here) {
  const { number } = here.stop;
  let isWriting = false;

  function arrive(words) {
    alerts.prepare();
    return here.set({ arrived_at: iso(), ...positionCells(number) }, words);
  }

  /** Arrival noticed by the position, once, and only while nothing is written at the stop. */
  function notice(way) {
    const isWritten = here.typed("arrived_at") || here.typed("status");
    if (isWriting || !isThere(way) || isWritten || document.visibilityState === "hidden") return;
    if (model.visit.noticed?.includes(number)) return;
    isWriting = true;
    note((visit) => Object.assign(visit, { noticed: [...(visit.noticed ?? []), number] }))
      .then(() =>
        arrive(
          gettext("You are at the stop. Arrival time saved: {clock}", { clock: clock(now(), here.zone) }),
        ),
      )
      .finally(() => {
        isWriting = false;
      });
  }
  return { arrive, notice };
}
