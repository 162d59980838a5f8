// Uploads by the tus protocol 1.0.0: begin, then pieces, each with its checksum. After any failure
// the server is asked how far it has come. Each piece waits while cells are being sent.
import { gettext } from "./language.js";
import { ask, NoAnswer } from "./http.js";
import { SignedOut, Stranger } from "./sender.js";
import * as sounds from "./soundstore.js";

const VERSION = "1.0.0";
const PIECE = 256 * 1024;
const MOST_TRIES = 6;
const NO_ROOM = 507;
export const PATIENCE_MS = 60_000;

/** Send a recording, or take back one that was deleted here. `how`: {url, csrf, again,
    onProgress(id, share)}; `again`: the server was asked a second time who is signed in.
    Raises NoAnswer, SignedOut, Stranger. */
export async function upload(id, how) {
  for (let tries = 0; tries < MOST_TRIES; tries += 1) {
    const recording = await sounds.get(id);
    if (!recording) return;
    if (recording.state === "removing") return deleteOnServer(recording, how);
    if (recording.state !== "kept" || recording.trouble?.stops) return;
    if (await sendOnce(recording, how)) return;
  }
  throw new NoAnswer("busy");
}

/** Begin or go on; whether this recording is done with for now. */
async function sendOnce(recording, how) {
  const file = await sounds.fileOf(recording);
  if (!recording.begun) return begin(recording, file, how);
  const { code, headers } = await call("HEAD", recording, how);
  if (code === 404) {
    await sounds.change(recording.id, (it) => {
      it.begun = false;
    });
    return false;
  }
  if (headers.get("Upload-Complete") === "?1") return done(recording);
  return sendPieces(recording, file, Number(headers.get("Upload-Offset")), how);
}

async function begin(recording, file, how) {
  const sha256 = recording.sha256 ?? hex(await digest(await file.arrayBuffer()));
  // Before the server hears of it: if the answer is lost, the phone still knows that it may be there.
  await sounds.change(recording.id, (it) => Object.assign(it, { sha256, begun: true, trouble: null }));
  const facts = {
    id: recording.id,
    visit: recording.visit,
    stop: recording.stop,
    species: recording.species,
    kind: recording.kind,
    filetype: recording.media_type,
    seconds: recording.seconds.toFixed(2),
    recorded: recording.begun_at,
    sha256,
  };
  const answer = await call("POST", null, how, {
    "Upload-Length": String(file.size),
    "Upload-Metadata": metadata(facts),
  });
  if (answer.code === 201) return false;
  await sounds.change(recording.id, (it) => {
    it.begun = false;
  });
  if (answer.code === 404)
    return noteTrouble(
      recording,
      gettext("Its visit is not on the server yet. It is saved here and will be sent after the visit."),
      false,
    );
  return noteTrouble(
    recording,
    answer.detail ?? gettext("The server refused it (error {code}).", { code: answer.code }),
    answer.code !== NO_ROOM,
  );
}

async function sendPieces(recording, file, from, how) {
  let offset = from;
  do {
    how.onProgress(recording.id, offset / file.size);
    // Cells that are on their way go first.
    await navigator.locks.request("duskpool-sync", () => {});
    if ((await sounds.get(recording.id))?.state !== "kept") return false;
    const piece = await file.slice(offset, offset + PIECE).arrayBuffer();
    const checksum = `sha256 ${base64(new Uint8Array(await digest(piece)))}`;
    const response = await call(
      "PATCH",
      recording,
      how,
      {
        "Upload-Offset": String(offset),
        "Upload-Checksum": checksum,
        "Content-Type": "application/offset+octet-stream",
      },
      piece,
    ).catch(noneForPiece);
    if (!response) return false;
    const { code, headers, detail } = response;
    if ([400, 413, 422, NO_ROOM].includes(code)) return noteTrouble(recording, detail, code !== NO_ROOM);
    if (code !== 204) return false;
    if (headers.get("Upload-Complete") === "?1") return done(recording);
    offset = Number(headers.get("Upload-Offset"));
  } while (offset < file.size);
  return false;
}

/** No answer to a piece: the server may have it, and is asked before it is sent again. */
function noneForPiece(error) {
  if (error instanceof NoAnswer && error.kind === "busy") return null;
  throw error;
}

async function done(recording) {
  await sounds.markSent(recording.id);
  return true;
}

async function noteTrouble(recording, words, stops) {
  await sounds.change(recording.id, (it) => {
    it.trouble = { words, stops };
  });
  return true;
}

/** Tell the server of a recording that was deleted here. What it has accepted for good stays there. */
async function deleteOnServer(recording, how) {
  const { code } = await call("DELETE", recording, how);
  if ([204, 404, 409].includes(code)) await sounds.forget(recording.id);
}

async function call(method, recording, { url, csrf, again }, headers = {}, body = undefined) {
  const response = await ask(
    recording ? `${url}${recording.id}/` : url,
    {
      method,
      body,
      headers: { Accept: "application/json", "Tus-Resumable": VERSION, "X-CSRFToken": csrf, ...headers },
    },
    { patienceMs: PATIENCE_MS, once: method === "PATCH", also: NO_ROOM },
  );
  if (response.type === "opaqueredirect") throw new SignedOut("signed-out");
  if ([401, 403].includes(response.status) || (response.status === 404 && !again)) throw new Stranger();
  const data = response.status >= 400 ? await response.json().catch(() => null) : null;
  return { code: response.status, headers: response.headers, detail: data?.detail };
}

const digest = (bytes) => crypto.subtle.digest("SHA-256", bytes);
const hex = (buffer) =>
  [...new Uint8Array(buffer)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
const base64 = (bytes) => btoa(String.fromCharCode(...bytes));
const metadata = (facts) =>
  Object.entries(facts)
    .filter(([, text]) => text !== null && text !== undefined && text !== "")
    .map(([key, text]) => `${key} ${base64(new TextEncoder().encode(String(text)))}`)
    .join(",");
