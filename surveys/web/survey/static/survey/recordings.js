// Sending recordings by the tus protocol 1.0.0: begin, then pieces, each with its checksum. After
// any failure the server is asked how far it has come. Data goes first: a recording waits until its
// visit has reached the server, and each piece waits while cells are being sent.
import { ask, NoAnswer } from "./asking.js";
import * as sounds from "./soundstore.js";
import * as store from "./store.js";

const VERSION = "1.0.0";
const PIECE = 256 * 1024;
const PATIENCE_MS = 60_000;
const WAITS_S = [5, 15, 45, 120, 300];
const MOST_TRIES = 6;
const WIFI = "sound-only-wifi";

/** `kind`: idle, sending, offline, busy, later, wifi, signed-out, not-allowed. `share` of `id` that is sent. */
export const status = { kind: "idle", id: null, share: 0 };
const listeners = new Set();
let config = null;
let known = [];
let timer = null;
let due = Infinity;
let failures = 0;

class SignedOut extends Error {}
/** The session ended, or its token changed, between two pieces: who is signed in is asked anew. */
class Stranger extends Error {}

export async function start(settings) {
  config = settings;
  sounds.onNews(look);
  window.addEventListener("online", afresh);
  navigator.connection?.addEventListener?.("change", afresh);
  await sounds.recover(config.slug);
  await look();
}

export function onStatus(listener) {
  listeners.add(listener);
}

function say(kind, more = {}) {
  Object.assign(status, { kind, id: null, share: 0, ...more });
  for (const listener of listeners) listener(status);
}

async function look() {
  known = (await sounds.all(config.slug)).filter(({ state }) => state !== "removing");
  for (const listener of listeners) listener(status);
}

/** Recordings of a visit as last seen, those of one stop when it is named. */
export const ofVisit = (visit, stop) =>
  known.filter((one) => one.visit === visit && (stop === undefined || one.stop === stop));
/** What is on the phone only, of a visit or of all; empty when nothing is. */
export function hereOnly(visit) {
  const count = known.filter((one) => one.state !== "sent" && (!visit || one.visit === visit)).length;
  return count ? `${counted(count)} on this phone only` : "";
}

export const onlyWifi = () => store.setting(WIFI, false);
export async function setOnlyWifi(wanted) {
  await store.setSetting(WIFI, wanted);
  soon(0);
}

/** Send before long. `anyway`: also where the observer waits for Wi-Fi. */
export function soon(delay = 1_000, { anyway = false } = {}) {
  if (!config) return;
  clearTimeout(timer);
  due = performance.now() + delay;
  timer = setTimeout(() => {
    due = Infinity;
    sendAll(anyway);
  }, delay);
}

function afresh() {
  failures = 0;
  soon(0);
}

/** After a failure; a sooner sending stays. */
function later(waitS, more) {
  const delay = 1000 * Math.max(waitS, WAITS_S[Math.min(failures++, WAITS_S.length - 1)]);
  if (due > performance.now() + delay) soon(delay, more);
}

/** Send all that waits and may go. Two tabs take turns. */
function sendAll(anyway) {
  return navigator.locks.request("duskpool-recordings", async () => {
    const waiting = await ready();
    if (!waiting.length) return say("idle");
    if (!anyway && navigator.connection?.type === "cellular" && (await onlyWifi())) return say("wifi");
    say("sending");
    try {
      const { person, csrf } = await hello();
      for (const one of waiting.filter((found) => found.person === person.id)) await send(one.id, csrf);
      failures = 0;
      return say("idle");
    } catch (error) {
      if (error instanceof SignedOut) return say(error.message);
      if (error instanceof NoAnswer) say(error.kind);
      else if (!(error instanceof Stranger)) throw error;
      return later(error.waitS ?? 0, { anyway });
    }
  });
}

/** Recordings that are whole, whose visit the server has with all its cells; and deleted ones. */
async function ready() {
  const found = [];
  for (const one of await sounds.all(config.slug)) {
    if (one.state === "removing") found.push(one);
    if (one.state !== "kept" || one.trouble?.stops) continue;
    const visit = await store.get("visits", one.visit);
    const unsent = (await store.cellsOf(one.visit)).some(
      (cell) => store.isPending(cell) && !store.inConflict(cell),
    );
    if (visit && visit.revision !== null && !unsent) found.push(one);
  }
  return found;
}

async function send(id, csrf) {
  for (let tries = 0; tries < MOST_TRIES; tries += 1) {
    const one = await sounds.get(id);
    if (!one) return;
    if (one.state === "removing") return takeBack(one, csrf);
    if (one.state !== "kept" || one.trouble?.stops) return;
    if (await sendOnce(one, csrf)) return;
  }
  throw new NoAnswer("busy");
}

/** Begin or go on; whether this recording is done with for now. */
async function sendOnce(one, csrf) {
  const file = await sounds.fileOf(one);
  if (!one.begun) return begin(one, file, csrf);
  const { code, headers } = await call("HEAD", one, csrf);
  if (code === 404) {
    await sounds.change(one.id, (it) => {
      it.begun = false;
    });
    return false;
  }
  if (headers.get("Upload-Complete") === "?1") return done(one);
  return sendPieces(one, file, Number(headers.get("Upload-Offset")), csrf);
}

async function begin(one, file, csrf) {
  const sha256 = one.sha256 ?? hex(await digest(await file.arrayBuffer()));
  // Before the server hears of it: if the answer is lost, the phone still knows that it may be there.
  await sounds.change(one.id, (it) => Object.assign(it, { sha256, begun: true, trouble: null }));
  const said = {
    id: one.id,
    visit: one.visit,
    stop: one.stop,
    species: one.species,
    kind: one.kind,
    filetype: one.media_type,
    seconds: one.seconds.toFixed(2),
    recorded: one.begun_at,
    sha256,
  };
  const answer = await call("POST", null, csrf, {
    "Upload-Length": String(file.size),
    "Upload-Metadata": metadata(said),
  });
  if (answer.code === 201) return false;
  await sounds.change(one.id, (it) => {
    it.begun = false;
  });
  if (answer.code === 404)
    return putAside(
      one,
      "Its visit is not on the server. It is kept here and goes once the visit is there.",
      false,
    );
  return putAside(one, answer.detail ?? `The server did not take it (answer ${answer.code}).`, true);
}

async function sendPieces(one, file, from, csrf) {
  let offset = from;
  do {
    say("sending", { id: one.id, share: offset / file.size });
    // Cells that are on their way go first.
    await navigator.locks.request("duskpool-sync", () => {});
    if ((await sounds.get(one.id))?.state !== "kept") return false;
    const piece = await file.slice(offset, offset + PIECE).arrayBuffer();
    const checksum = `sha256 ${base64(new Uint8Array(await digest(piece)))}`;
    const sent = await call(
      "PATCH",
      one,
      csrf,
      {
        "Upload-Offset": String(offset),
        "Upload-Checksum": checksum,
        "Content-Type": "application/offset+octet-stream",
      },
      piece,
    ).catch(asked);
    if (!sent) return false;
    const { code, headers, detail } = sent;
    if ([400, 413, 422].includes(code)) return putAside(one, detail, true);
    if (code !== 204) return false;
    if (headers.get("Upload-Complete") === "?1") return done(one);
    offset = Number(headers.get("Upload-Offset"));
  } while (offset < file.size);
  return false;
}

/** No answer to a piece: the server may have it, and is asked before it is sent again. */
function asked(error) {
  if (error instanceof NoAnswer && error.kind === "busy") return null;
  throw error;
}

async function done(one) {
  await sounds.markSent(one.id);
  return true;
}

async function putAside(one, words, stops) {
  await sounds.change(one.id, (it) => {
    it.trouble = { words, stops };
  });
  return true;
}

/** Tell the server of a recording that was deleted here. What it has accepted for good stays there. */
async function takeBack(one, csrf) {
  const { code } = await call("DELETE", one, csrf);
  if ([204, 404, 409].includes(code)) await sounds.forget(one.id);
}

/** Try a recording again that was put aside. */
export async function retry(id) {
  await sounds.change(id, (one) => {
    one.trouble = null;
  });
  soon(0);
}

async function hello() {
  const read = async (response) => ({
    code: response.status,
    type: response.type,
    data: response.ok ? await response.json() : null,
  });
  const { code, type, data } = await ask(
    config.hello,
    { headers: { Accept: "application/json" } },
    { patienceMs: PATIENCE_MS, read },
  );
  if (type === "opaqueredirect" || code === 401) throw new SignedOut("signed-out");
  if (code === 403 || code === 404) throw new SignedOut("not-allowed");
  if (code !== 200) throw new NoAnswer("busy");
  return data;
}

async function call(method, one, csrf, headers = {}, body = undefined) {
  const url = one ? `${config.recordings}${one.id}/` : config.recordings;
  const response = await ask(
    url,
    {
      method,
      body,
      headers: { Accept: "application/json", "Tus-Resumable": VERSION, "X-CSRFToken": csrf, ...headers },
    },
    { patienceMs: PATIENCE_MS, once: method === "PATCH" },
  );
  if (response.type === "opaqueredirect") throw new SignedOut("signed-out");
  if ([401, 403].includes(response.status)) throw new Stranger();
  const data = response.status >= 400 ? await response.json().catch(() => null) : null;
  return { code: response.status, headers: response.headers, detail: data?.detail };
}

const digest = (bytes) => crypto.subtle.digest("SHA-256", bytes);
const hex = (buffer) =>
  [...new Uint8Array(buffer)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
const base64 = (bytes) => btoa(String.fromCharCode(...bytes));
const metadata = (said) =>
  Object.entries(said)
    .filter(([, text]) => text !== null && text !== undefined && text !== "")
    .map(([key, text]) => `${key} ${base64(new TextEncoder().encode(String(text)))}`)
    .join(",");

export const signedOut = () => status.kind === "signed-out";

const counted = (count) => (count === 1 ? "1 recording" : `${count} recordings`);

/** What of `list` is on the phone only and what is on the server; empty without recordings. */
export function listWords(list) {
  const sent = list.filter(({ state }) => state === "sent").length;
  const here = list.length - sent;
  return [here ? `${counted(here)} on this phone only.` : "", sent ? `${counted(sent)} on the server.` : ""]
    .filter(Boolean)
    .join(" ");
}

/** Where one recording is, in words. */
export function whereWords(one) {
  if (one.state === "sent") return "On the server.";
  if (one.state === "recording") return "Being recorded.";
  if (status.id === one.id) return `Sending: ${Math.floor(100 * status.share)} %.`;
  return `On this phone only.${one.trouble ? ` ${one.trouble.words}` : ""}`;
}

/** What sending is doing, in words; empty when there is nothing to say. */
export function sendingWords() {
  return (
    {
      sending: "Sending recordings …",
      offline: "No network. Recordings are kept on this phone and go by themselves.",
      busy: "The server does not answer. Recordings are kept on this phone; it is tried again.",
      later:
        "The server asks this phone to wait a while. Recordings are kept on this phone and go by themselves.",
      wifi: "Recordings wait for Wi-Fi.",
      "signed-out": "You are signed out. Sign in, and recordings go on being sent.",
      "not-allowed": "Your account may not send recordings to this program now. They are kept on this phone.",
    }[status.kind] ?? ""
  );
}
