// Signing out takes routes, places and whatever has reached the server off this device. Entries that
// are not sent stay, and are sent when the same person signs in here again.
// What it needs is loaded by whoever signs out.
const MOST_MS = 3_000;

async function wipe() {
  const { answered } = await import("../../survey/database.js");
  const { forgetPlaces, getAll, inConflict, isPending, transact } = await import("../../survey/store.js");
  await forgetPlaces();
  for (const { id, revision, wants_submit: waits, trouble } of await getAll("visits")) {
    if (revision === null || waits || trouble) continue;
    await transact(["visits", "cells"], "readwrite", async (t) => {
      const table = t.objectStore("cells");
      const cells = await answered(table.getAll(IDBKeyRange.bound([id], [id, []])));
      if (cells.some((cell) => isPending(cell) || inConflict(cell))) return;
      t.objectStore("visits").delete(id);
      for (const { address } of cells) table.delete([id, address]);
    });
  }
}

// A database that does not answer keeps nobody signed in.
document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.matches("form[data-sign-out]")) return;
  event.preventDefault();
  await Promise.race([wipe().catch(() => {}), new Promise((done) => setTimeout(done, MOST_MS))]);
  form.submit();
});
