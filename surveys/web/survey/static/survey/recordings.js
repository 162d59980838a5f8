// Which recordings go to the server and when, and where they are in words. Data goes first: a
// recording waits until its visit has reached the server.
import { gettext, ngettext } from "./language.js";
import { createSender, hello, Stranger } from "./sender.js";
import * as sounds from "./soundstore.js";
import * as store from "./store.js";
import { PATIENCE_MS, upload } from "./tus.js";

const WIFI = "sound-only-wifi";

const sender = createSender({
  lock: "duskpool-recordings",
  delayMs: 1_000,
  momentary: { id: null, share: 0 },
  work: sendReady,
});
/** `kind`: idle, sending, offline, busy, later, wifi, signed-out, not-allowed. `share` of `id` that is sent. */
export const { status, onStatus } = sender;
let config = null;
let known = [];

export async function start(settings) {
  config = settings;
  sounds.onNews(look);
  window.addEventListener("online", () => sender.startOver());
  navigator.connection?.addEventListener?.("change", () => sender.startOver());
  await sounds.recover(config.slug);
  await look();
}

async function look() {
  known = (await sounds.all(config.slug)).filter(({ state }) => state !== "removing");
  sender.notify();
}

/** Recordings of a visit as last seen, those of one stop when it is named. */
export const ofVisit = (visit, stop) =>
  known.filter((recording) => recording.visit === visit && (stop === undefined || recording.stop === stop));
/** What is on the phone only, of a visit or of all; empty when nothing is. */
export function unsentWords(visit) {
  const count = known.filter(
    (recording) => recording.state !== "sent" && (!visit || recording.visit === visit),
  ).length;
  return count ? gettext("{counted} on this phone only", { counted: counted(count) }) : "";
}

export const onlyWifi = () => store.setting(WIFI, false);
export async function setOnlyWifi(wanted) {
  await store.setSetting(WIFI, wanted);
  soon(0);
}

/** Send before long. `anyway`: also where the observer waits for Wi-Fi. */
export function soon(delay, { anyway = false } = {}) {
  if (config) sender.soon(delay, { anyway });
}

/** Send all that waits and may go. */
async function sendReady({ anyway, again = false }) {
  const waiting = await ready();
  if (!waiting.length) return sender.say("idle");
  if (!anyway && navigator.connection?.type === "cellular" && (await onlyWifi())) return sender.say("wifi");
  sender.say("sending");
  const onProgress = (id, share) => sender.say("sending", { id, share });
  const { person, csrf } = await hello(config.hello, PATIENCE_MS);
  const ofPerson = waiting.filter(({ person: owner }) => owner === person.id);
  const how = { url: config.recordings, csrf, again, onProgress };
  try {
    for (const { id } of ofPerson) await upload(id, how);
  } catch (error) {
    // Somebody else may have signed in: the server is asked who, before a 404 is believed.
    if (error instanceof Stranger && !again) return sendReady({ anyway, again: true });
    throw error;
  }
  return sender.say("idle");
}

/** Recordings that are whole, whose visit the server has with all its cells; and deleted ones. */
async function ready() {
  const list = [];
  for (const recording of await sounds.all(config.slug)) {
    if (recording.state === "removing") list.push(recording);
    if (recording.state !== "kept" || recording.trouble?.stops) continue;
    const visit = await store.get("visits", recording.visit);
    const unsent = (await store.cellsOf(recording.visit)).some(
      (cell) => store.isPending(cell) && !store.inConflict(cell),
    );
    if (visit && visit.revision !== null && !unsent) list.push(recording);
  }
  return list;
}

/** Try a recording again that was put aside. */
export async function retry(id) {
  await sounds.change(id, (recording) => {
    recording.trouble = null;
  });
  soon(0);
}

export const signedOut = () => status.kind === "signed-out";

const counted = (count) => ngettext("{number} recording", "{number} recordings", count);

/** What of `list` is on the phone only and what is on the server; empty without recordings. */
export function listWords(list) {
  const sent = list.filter(({ state }) => state === "sent").length;
  const here = list.length - sent;
  return [
    here ? gettext("{counted} on this phone only.", { counted: counted(here) }) : "",
    sent ? gettext("{counted} on the server.", { counted: counted(sent) }) : "",
  ]
    .filter(Boolean)
    .join(" ");
}

/** Where one recording is, in words. */
export function whereWords(recording) {
  if (recording.state === "sent") return gettext("On the server.");
  if (recording.state === "recording") return gettext("Being recorded.");
  if (status.id === recording.id)
    return gettext("Sending: {status}%.", { status: Math.floor(100 * status.share) });
  return [gettext("On this phone only."), recording.trouble?.words].filter(Boolean).join(" ");
}

/** What sending is doing, in words; empty when there is nothing to say. */
export function sendingWords() {
  return (
    {
      sending: gettext("Sending recordings …"),
      offline: gettext("No signal. Recordings are saved on this phone and will be sent automatically."),
      busy: gettext("Cannot reach the server. Recordings are saved on this phone; we will keep trying."),
      later: gettext(
        "The server is busy. Recordings are saved on this phone and will be sent automatically.",
      ),
      wifi: gettext("Recordings wait for Wi-Fi."),
      "signed-out": gettext("You are signed out. Sign in to send recordings."),
      "not-allowed": gettext(
        "Your account cannot send recordings to this program right now. They are saved on this phone.",
      ),
    }[status.kind] ?? ""
  );
}
