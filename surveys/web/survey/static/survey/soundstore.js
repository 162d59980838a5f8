// Recordings on the phone, in a database of their own.
//
// A recording: { id, slug, visit, person, stop, species, kind, media_type, begun_at, seconds, bytes,
// state, sha256, begun, trouble }. `state`: recording, kept, sent, removing (deleted here,
// the server is still to be told). `begun`: the server knows of it. Its sound lies in pieces of a
// second, each on the disk before the next.
import { answered, database } from "./database.js";
import { RECORDING } from "./quiet.js";

const NAME = "duskpool-recordings";
const news = new BroadcastChannel(NAME);
const listeners = new Set();
const inDatabase = database(NAME, { recordings: "id", pieces: ["recording", "number"] });

const transact = (mode, work) =>
  inDatabase(["recordings", "pieces"], mode, (t) =>
    work(t.objectStore("recordings"), t.objectStore("pieces")),
  );
const piecesOf = (id) => IDBKeyRange.bound([id], [id, []]);
export const lockOf = (id) => `${RECORDING}${id}`;

function tell() {
  news.postMessage(null);
  for (const listener of listeners) listener();
}

/** Hear of recordings that came, went or changed, here or in another tab. */
export function onNews(listener) {
  listeners.add(listener);
  news.addEventListener("message", () => listener());
}

export const get = (id) => transact("readonly", (recordings) => answered(recordings.get(id)));

/** Recordings of a program, the oldest first. */
export async function all(slug) {
  const recordings = await transact("readonly", (table) => answered(table.getAll()));
  return recordings
    .filter((recording) => recording.slug === slug)
    .sort((a, b) => (a.begun_at < b.begun_at ? -1 : 1));
}

export function begin(recording) {
  const whole = {
    ...recording,
    seconds: 0,
    bytes: 0,
    state: "recording",
    sha256: null,
    begun: false,
    trouble: null,
  };
  return transact("readwrite", async (recordings) => {
    recordings.add(whole);
  }).then(tell);
}

/** Add a second of sound. */
export function append(id, number, sound, seconds) {
  return transact("readwrite", async (recordings, pieces) => {
    const recording = await answered(recordings.get(id));
    if (!recording) return;
    pieces.add({ recording: id, number, sound });
    recordings.put({ ...recording, seconds, bytes: recording.bytes + sound.byteLength });
  });
}

export function change(id, alter) {
  return transact("readwrite", async (recordings) => {
    const recording = await answered(recordings.get(id));
    if (!recording) return null;
    alter(recording);
    recordings.put(recording);
    return recording;
  }).then((recording) => {
    tell();
    return recording;
  });
}

/** The recording is over; one without a sound is nothing. */
export async function finish(id) {
  const recording = await change(id, (stored) => {
    if (stored.state === "recording") stored.state = "kept";
  });
  if (recording && !recording.bytes) await forget(id);
  return recording?.bytes ? recording : null;
}

/** Recordings that were cut off by the death of their tab are over as far as they came. */
export async function recover(slug) {
  const { held } = await navigator.locks.query();
  const alive = new Set(held.map(({ name }) => name));
  for (const { id, state } of await all(slug))
    if (state === "recording" && !alive.has(lockOf(id))) await finish(id);
}

/** The sound as one file. */
export async function fileOf({ id, media_type: type }) {
  const pieces = await transact("readonly", (_, store) => answered(store.getAll(piecesOf(id))));
  return new Blob(
    pieces.map(({ sound }) => sound),
    { type },
  );
}

/** The server has the whole: the phone lets go of the sound. */
export function markSent(id) {
  return transact("readwrite", async (recordings, pieces) => {
    const recording = await answered(recordings.get(id));
    if (!recording) return;
    recordings.put({
      ...recording,
      state: recording.state === "removing" ? "removing" : "sent",
      begun: true,
      trouble: null,
    });
    pieces.delete(piecesOf(id));
  }).then(tell);
}

/** Delete a recording; while the server may know of it, a trace stays until it was told. */
export function remove(id) {
  return transact("readwrite", async (recordings, pieces) => {
    const recording = await answered(recordings.get(id));
    pieces.delete(piecesOf(id));
    if (recording?.begun) recordings.put({ ...recording, state: "removing" });
    else recordings.delete(id);
  }).then(tell);
}

/** Delete every trace of a recording. */
export function forget(id) {
  return transact("readwrite", async (recordings, pieces) => {
    recordings.delete(id);
    pieces.delete(piecesOf(id));
  }).then(tell);
}

export async function forgetVisit(slug, visit) {
  for (const recording of await all(slug)) if (recording.visit === visit) await forget(recording.id);
}
