// Signing out takes routes, places and whatever has reached the server off this device. Entries that
// are not sent stay, and are sent when the same person signs in here again.
// What it needs is loaded by whoever signs out.
const MOST_MS = 3_000;
// Set by the server: accounts/signed_out.py.
const TOLD = /(?:^|; )signed-out=(\w+)/;

/** `inUse`: whether a visit is still gone on with; its route stays, and so does the visit. */
async function wipe(inUse = () => false) {
  const { answered } = await import("../../survey/database.js");
  const { forgetPlaces, getAll, inConflict, isPending, tell, transact } = await import(
    "../../survey/store.js"
  );
  await forgetPlaces(inUse);
  for (const visit of await getAll("visits")) {
    const { id, revision, wants_submit: waits, trouble } = visit;
    if (revision === null || waits || trouble || inUse(visit)) continue;
    await transact(["visits", "cells"], "readwrite", async (t) => {
      const table = t.objectStore("cells");
      const cells = await answered(table.getAll(IDBKeyRange.bound([id], [id, []])));
      if (cells.some((cell) => isPending(cell) || inConflict(cell))) return;
      t.objectStore("visits").delete(id);
      for (const { address } of cells) table.delete([id, address]);
    });
    // Another tab may show it.
    tell(id);
  }
}

/** The session ended by itself, or somebody signed out before this module had loaded. */
async function wipeWhatWasLeft() {
  const why = document.cookie.match(TOLD)?.[1];
  if (!why) return;
  const { isOfTonight } = await import("../../survey/store.js");
  await wipe(why === "ended" ? isOfTonight : undefined);
  document.cookie = "signed-out=; Max-Age=0; Path=/";
}
wipeWhatWasLeft();

// A database that does not answer keeps nobody signed in.
document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.matches("form[data-sign-out]")) return;
  event.preventDefault();
  await Promise.race([wipe().catch(() => {}), new Promise((done) => setTimeout(done, MOST_MS))]);
  form.submit();
});
