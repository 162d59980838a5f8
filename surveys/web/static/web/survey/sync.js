// Sending visits to the server: begin (PUT), change cells (PATCH), submit (POST). Each request can
// be made again without harm, so a lost answer, a second tab or a second phone doubles nothing.
import { iso, now } from "./clock.js";
import * as store from "./store.js";

const PATIENCE_MS = 20_000;
const WAITS_S = [5, 15, 45, 120, 300];
const BREATH_MS = 300;
const STEPS = 8;
const HANDED_IN = { submitted: "submitted", accepted: "accepted", set_aside: "set aside" };

/** `kind`: idle, sending, offline, busy, signed-out, not-allowed, other-person. */
export const status = { kind: "idle", person: null, at: null, clockAhead: 0 };
const listeners = new Set();
let config = null;
let timer = null;
let failures = 0;

class NoAnswer extends Error {}
/** The server did not know us, or not the visit, in the middle of sending: perhaps somebody signed
    in anew in another tab. */
class Stranger extends Error {}

export function start(settings) {
  config = settings;
  window.addEventListener("online", () => soon(0));
  document.addEventListener("visibilitychange", () => soon(document.visibilityState === "hidden" ? 0 : 500));
  soon(0);
}

export function onStatus(listener) {
  listeners.add(listener);
}

function say(kind, more = {}) {
  Object.assign(status, { kind, ...more });
  for (const listener of listeners) listener(status);
}

/** Send before long; while sending fails, at growing distances. */
export function soon(delay = 2_500) {
  clearTimeout(timer);
  timer = setTimeout(() => syncAll(), delay);
}

/** Send all that waits. Two tabs take turns. */
export function syncAll() {
  return navigator.locks.request("duskpool-sync", async () => {
    const visits = await waiting();
    if (!visits.length) return say("idle");
    say("sending");
    try {
      await sendAll(visits);
      failures = 0;
    } catch (error) {
      if (!(error instanceof NoAnswer)) {
        say("idle");
        throw error;
      }
      say(navigator.onLine ? "busy" : "offline");
      soon(1000 * WAITS_S[Math.min(failures++, WAITS_S.length - 1)]);
    }
  });
}

async function sendAll(visits, again = false) {
  const hello = await call("GET", config.hello);
  // Signing in happens in another page; coming back from it shows this one again.
  if (hello.status !== 200) return say(hello.status === 401 ? "signed-out" : "not-allowed");
  const { person, csrf, now: theirs } = hello.data;
  const clockAhead = now() - Date.parse(theirs);
  await store.setSetting("clock-ahead", clockAhead);
  try {
    for (const visit of visits.filter((one) => one.person.id === person.id)) await send(visit.id, { csrf, again });
  } catch (error) {
    if (error instanceof Stranger) return sendAll(visits, true);
    throw error;
  }
  const others = visits.filter((one) => one.person.id !== person.id);
  return say(others.length ? "other-person" : "idle", { person, clockAhead, at: iso() });
}

/** Visits of this programme that hold something the server may not have. */
async function waiting() {
  const found = [];
  for (const visit of await store.getAll("visits")) {
    if (visit.slug !== config.slug || visit.trouble?.stops) continue;
    if (visit.revision === null || visit.wants_submit || (await unsent(visit.id)).length) found.push(visit);
  }
  return found;
}

const unsent = async (id) =>
  (await store.cellsOf(id)).filter((cell) => store.isPending(cell) && !store.inConflict(cell));

async function send(id, how) {
  for (let step = 0; step < STEPS; step += 1) {
    const visit = await store.get("visits", id);
    if (!visit || visit.trouble?.stops) return;
    if (!(await sendOnce(visit, how))) return;
  }
  soon();
}

/** One request; whether there may be more to send. */
async function sendOnce(visit, how) {
  const changes = await store.beginSending(visit.id, visit.revision === null);
  const url = `${config.visits}${visit.id}/`;
  if (visit.revision === null) return begin(visit, url, changes, how);
  if (Object.keys(changes).length) {
    return taken(visit, await call("PATCH", url, { changes }, how.csrf, visit.revision), how, changes);
  }
  const clashes = (await store.cellsOf(visit.id)).some(store.inConflict);
  if (!visit.wants_submit || clashes || !store.EDITABLE.includes(visit.state)) {
    if (visit.wants_submit) await store.changeVisit(visit.id, (one) => { one.wants_submit = false; });
    return false;
  }
  const answer = await call("POST", `${url}submit/`, undefined, how.csrf, visit.revision);
  if (answer.status === 200) {
    await store.takeIn(visit.id, answer.data, iso());
    await store.changeVisit(visit.id, (one) => Object.assign(one, { wants_submit: false, submitted_at: iso() }));
    return false;
  }
  return taken(visit, answer, how, {}, true);
}

async function begin(visit, url, changes, how) {
  const cells = Object.fromEntries(Object.entries(changes).map(([address, { now: text }]) => [address, text]));
  const sheet = { route: visit.route.code, night: visit.night, source: "phone", protocol_version: visit.version, cells };
  return taken(visit, await call("PUT", url, sheet, how.csrf), how, changes);
}

/** What an answer means for the visit; whether to go on. */
async function taken(visit, { status: code, data }, how, changes, submitting = false) {
  if ([401, 403, 404].includes(code) && !how.again) throw new Stranger();
  if (code === 200 || code === 201) {
    await store.takeIn(visit.id, { ...data, changes }, iso());
    return true;
  }
  if (code === 409 && data?.visit) return overtaken(visit, data, submitting);
  if (code === 422) {
    await store.changeVisit(visit.id, (one) => { one.findings = data.findings; });
    await trouble(visit.id, "refused", data.detail, false);
  } else if (code === 404 && visit.revision !== null) {
    await trouble(visit.id, "gone", "The server has no such visit any more: it was thrown away there. It is kept here.", true);
  } else {
    await trouble(visit.id, "not-taken", data?.detail ?? `The server did not take it (answer ${code}).`, true);
  }
  return false;
}

/** The server's copy is newer than we knew: take in what we did not change ourselves, go on. */
async function overtaken(visit, data, submitting) {
  const changed = await store.takeIn(visit.id, data, iso());
  if (!store.EDITABLE.includes(data.visit.state)) {
    const left = (await unsent(visit.id)).length;
    const state = HANDED_IN[data.visit.state];
    await store.changeVisit(visit.id, (one) => { one.wants_submit = false; });
    if (left) {
      const words = `The visit is ${state} already; ${left} later ${left === 1 ? "entry is" : "entries are"} kept on this phone only. Ask the coordinator to send the visit back, then send again.`;
      await trouble(visit.id, "closed", words, true);
    }
    return false;
  }
  if (submitting && changed) {
    await trouble(visit.id, "look-again", "The sheet was also changed elsewhere. Look at it again, then submit.", false);
    return false;
  }
  return true;
}

function trouble(id, kind, words, stops) {
  return store.changeVisit(id, (visit) => Object.assign(visit, { wants_submit: false, trouble: { kind, words, stops } }));
}

/** Try a visit again that was put aside with a trouble. `anew`: begin it again on the server. */
export async function retry(id, { anew = false } = {}) {
  await store.changeVisit(id, (visit) => {
    visit.trouble = null;
    if (anew) visit.revision = null;
  });
  return syncAll();
}

/** Throw a draft away here and, when it got there, on the server. */
export async function throwAway(visit) {
  const sent = (await store.cellsOf(visit.id)).some((cell) => cell.sent.length > 0);
  if (visit.revision !== null || sent) {
    const hello = await call("GET", config.hello);
    if (hello.status !== 200) throw new NoAnswer();
    const answer = await call("DELETE", `${config.visits}${visit.id}/`, undefined, hello.data.csrf);
    if (answer.status !== 204 && answer.status !== 404) throw new Error(answer.data?.detail ?? "The server kept it.");
  }
  await store.dropVisit(visit.id);
}

async function call(method, url, body, csrf, revision) {
  const headers = { Accept: "application/json" };
  if (csrf) headers["X-CSRFToken"] = csrf;
  if (body !== undefined) headers["Content-Type"] = "application/json";
  if (revision !== undefined) headers["If-Match"] = `"${revision}"`;
  const wanted = { method, headers, body: body === undefined ? undefined : JSON.stringify(body) };
  const response = await ask(url, wanted);
  if (response.status >= 500 || response.status === 429) throw new NoAnswer();
  if (response.type === "opaqueredirect") return { status: 401, data: null };
  // An answer may tear on its way, or be one of somebody who stands between us and the server.
  const words = await response.text().catch(() => { throw new NoAnswer(); });
  const data = read(words);
  if (response.ok && response.status !== 204 && data === null) throw new NoAnswer();
  return { status: response.status, data };
}

function read(words) {
  try {
    return JSON.parse(words);
  } catch {
    return null;
  }
}

/** A connection that breaks is tried once more at once: it may have been an old one. */
async function ask(url, wanted) {
  const fetchOnce = () => fetch(url, { ...wanted, redirect: "manual", cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS) });
  try {
    return await fetchOnce();
  } catch (error) {
    if (error.name === "TimeoutError" || !navigator.onLine) throw new NoAnswer();
    await new Promise((resolve) => setTimeout(resolve, BREATH_MS));
    return fetchOnce().catch(() => { throw new NoAnswer(); });
  }
}
