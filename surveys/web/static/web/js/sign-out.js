// Signing out takes routes, places and whatever has reached the server off this device. Entries that
// are not sent stay, and are sent when the same person signs in here again.
import { answered } from "../../survey/database.js";
import { cellsOf, forgetPlaces, getAll, inConflict, isPending, transact } from "../../survey/store.js";

const MOST_MS = 3_000;
const form = document.querySelector("form[data-sign-out]");

async function isSent({ id, revision, wants_submit: waits, trouble }) {
  if (revision === null || waits || trouble) return false;
  return !(await cellsOf(id)).some((cell) => isPending(cell) || inConflict(cell));
}

async function forget(visit) {
  await transact(["visits", "cells"], "readwrite", async (t) => {
    // Somebody may have typed since.
    const cells = await answered(
      t.objectStore("cells").getAll(IDBKeyRange.bound([visit.id], [visit.id, []])),
    );
    if (cells.some((cell) => isPending(cell) || inConflict(cell))) return;
    t.objectStore("visits").delete(visit.id);
    for (const { address } of cells) t.objectStore("cells").delete([visit.id, address]);
  });
}

async function wipe() {
  await forgetPlaces();
  for (const visit of await getAll("visits")) if (await isSent(visit)) await forget(visit);
}

// A database that does not answer keeps nobody signed in.
form?.addEventListener("submit", async (event) => {
  event.preventDefault();
  await Promise.race([wipe().catch(() => {}), new Promise((done) => setTimeout(done, MOST_MS))]);
  form.submit();
});
