// When to send: soon after a change, at once when the network is back, at growing distances while it
// fails. Two tabs take turns.
import { ask, NoAnswer } from "./http.js";
import { forgetPlaces, isOfTonight } from "./store.js";

const WAITS_S = [5, 15, 45, 120, 300];

/** The server knows nobody here (`kind` signed-out), or not for this program (not-allowed). */
export class SignedOut extends Error {
  constructor(kind) {
    super(kind);
    this.kind = kind;
  }
}

/** The server did not know us, or not the visit: perhaps somebody signed in again in another tab. */
export class Stranger extends Error {}

/** Calls `work(how)`, which sends all that waits and says what it does by `say(kind, more)`. `how` is
    what `soon` was given with it. A NoAnswer is tried again, a SignedOut when the page is next shown.

    lock: name of the lock that tabs take turns by. delayMs: of `soon`. kept, momentary: what the status
    holds besides `kind`; what is momentary is set back whenever the kind is said. */
export function createSender({ lock, delayMs, kept = {}, momentary = {}, work }) {
  const status = { kind: "idle", ...kept, ...momentary };
  const listeners = new Set();
  let timer = null;
  let due = Infinity;
  let failures = 0;

  function notify() {
    for (const listener of listeners) listener(status);
  }

  function say(kind, more = {}) {
    Object.assign(status, { kind, ...momentary, ...more });
    notify();
  }

  function soon(delay = delayMs, how = {}) {
    clearTimeout(timer);
    due = performance.now() + delay;
    timer = setTimeout(() => {
      due = Infinity;
      sendNow(how);
    }, delay);
  }

  /** Failures of an hour without signal say nothing of the network that is there now. */
  function startOver(delay = 0) {
    failures = 0;
    soon(delay);
  }

  /** After a failure. A sooner sending stays: the network may just have come back. */
  function later(waitS, how) {
    const delay = 1000 * Math.max(waitS, WAITS_S[Math.min(failures++, WAITS_S.length - 1)]);
    if (due > performance.now() + delay) soon(delay, how);
  }

  function sendNow(how = {}) {
    return navigator.locks.request(lock, async () => {
      try {
        await work(how);
        failures = 0;
      } catch (error) {
        if (error instanceof SignedOut) return say(error.kind);
        if (error instanceof Stranger) return later(0, how);
        if (!(error instanceof NoAnswer)) {
          say("idle");
          later(0, how);
          throw error;
        }
        say(error.kind);
        later(error.waitS, how);
      }
    });
  }

  return { status, say, notify, soon, startOver, sendNow, onStatus: (listener) => listeners.add(listener) };
}

/** {person, csrf, now}: who is signed in, a token to write with, the server's time. Raises NoAnswer,
    SignedOut. */
export async function hello(url, patienceMs) {
  const wanted = { headers: { Accept: "application/json" } };
  const { code, data } = await ask(url, wanted, { patienceMs, read: readHello });
  if (code === 200) return data;
  if (code === 401) {
    // A session has ended, at this request or one before: accounts/signed_out.py.
    if (document.cookie.includes("signed-out=")) await forgetPlaces(isOfTonight);
    throw new SignedOut("signed-out");
  }
  // The account has ended: what is not sent stays.
  if (code === 410) await forgetPlaces();
  if ([403, 404, 410].includes(code)) throw new SignedOut("not-allowed");
  throw new NoAnswer("busy");
}

async function readHello(response) {
  if (response.type === "opaqueredirect") return { code: 401 };
  return { code: response.status, data: response.ok ? await response.json() : null };
}
