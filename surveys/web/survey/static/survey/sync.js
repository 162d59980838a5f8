// Sending visits: begin (PUT), change cells (PATCH), submit (POST). Each request can be made again,
// so a lost answer or a second phone doubles nothing.
import { gettext, ngettext } from "./language.js";
import { ask } from "./http.js";
import { iso, now } from "./clock.js";
import { follow, followSoon } from "./following.js";
import { createSender, hello, SignedOut, Stranger } from "./sender.js";
import * as store from "./store.js";

const PATIENCE_MS = 20_000;
const STEPS = 8;
const SIGN_IN = {
  "signed-out": gettext("You are signed out. Sign in, then delete the draft."),
  "not-allowed": gettext("Your account cannot change visits in this program right now. The draft is saved."),
};
const HANDED_IN = { submitted: "submitted", accepted: "accepted", set_aside: gettext("set aside") };

const sender = createSender({
  lock: "duskpool-sync",
  delayMs: 2_500,
  kept: { person: null, at: null, clockAhead: 0 },
  work: sendWaiting,
});
/** `kind`: idle, sending, offline, busy, later, signed-out, not-allowed, other-person. */
export const { status, onStatus, soon } = sender;
/** Send all that waits, now. */
export const syncAll = () => sender.sendNow();
let config = null;
let asksOnce = false;
let tell = () => {};

/** `holdsPlaces`: who is signed out, or whose account has ended, must not keep them, so the server is
    asked even if nothing is to be sent. `say` is given sentences on visits that came back or were
    accepted. */
export function start(settings, holdsPlaces, say) {
  config = settings;
  tell = say;
  window.addEventListener("online", () => {
    followSoon();
    sender.startOver();
  });
  document.addEventListener("visibilitychange", () =>
    sender.startOver(document.visibilityState === "hidden" ? 0 : 500),
  );
  asksOnce = holdsPlaces;
  soon(0);
}

async function sendWaiting() {
  const visits = await waiting();
  const asks = asksOnce;
  asksOnce = false;
  if (visits.length) {
    sender.say("sending");
    await sendVisits(visits);
  } else {
    if (asks) await hello(config.hello, PATIENCE_MS).catch(() => {});
    sender.say("idle");
  }
  for (const words of await follow(config)) tell(words);
}

async function sendVisits(visits, again = false) {
  const { person, csrf, now: theirs } = await hello(config.hello, PATIENCE_MS);
  const clockAhead = now() - Date.parse(theirs);
  await store.setSetting("clock-ahead", clockAhead);
  const [ofPerson, ofOthers] = partition(visits, (visit) => visit.person.id === person.id);
  try {
    for (const visit of ofPerson) await send(visit.id, { csrf, again });
  } catch (error) {
    if (error instanceof Stranger && !again) return sendVisits(visits, true);
    throw error;
  }
  return sender.say(ofOthers.length ? "other-person" : "idle", { person, clockAhead, at: iso() });
}

const partition = (list, test) => [list.filter(test), list.filter((item) => !test(item))];

/** Visits of this program that hold something the server may not have. */
async function waiting() {
  const visits = (await store.getAll("visits")).filter(
    (visit) => visit.slug === config.slug && !visit.trouble?.stops,
  );
  const isWaiting = await Promise.all(
    visits.map(
      async ({ id, revision, wants_submit }) =>
        revision === null || wants_submit || (await unsent(id)).length > 0,
    ),
  );
  return visits.filter((_, index) => isWaiting[index]);
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
    return handleResponse(
      visit,
      await call("PATCH", url, { changes }, how.csrf, visit.revision),
      how,
      changes,
    );
  }
  const clashes = (await store.cellsOf(visit.id)).some(store.inConflict);
  if (!visit.wants_submit || clashes || !store.EDITABLE.includes(visit.state)) {
    if (visit.wants_submit)
      await store.changeVisit(visit.id, (kept) => {
        kept.wants_submit = false;
      });
    return false;
  }
  const answer = await call("POST", `${url}submit/`, undefined, how.csrf, visit.revision);
  if (answer.status === 200) {
    await store.merge(visit.id, answer.data, iso());
    await store.changeVisit(visit.id, (kept) =>
      Object.assign(kept, { wants_submit: false, submitted_at: iso() }),
    );
    return false;
  }
  return handleResponse(visit, answer, how, {}, true);
}

async function begin(visit, url, changes, how) {
  const cells = Object.fromEntries(
    Object.entries(changes).map(([address, { now: text }]) => [address, text]),
  );
  const sheet = {
    route: visit.route.code,
    night: visit.night,
    source: "phone",
    protocol_version: visit.version,
    stops: visit.stops ?? {},
    // Somebody may sign in on this phone while the request is on its way.
    observer: visit.person.id,
    cells,
  };
  if (visit.back && visit.back !== store.WANTED_BACK) sheet.recovers = visit.back;
  return handleResponse(visit, await call("PUT", url, sheet, how.csrf), how, changes);
}

/** What a response means for the visit; whether to go on. */
async function handleResponse(visit, { status: code, data }, how, changes, submitting = false) {
  if ([401, 403, 404].includes(code) && !how.again) throw new Stranger();
  if (code === 200 || code === 201) {
    await store.merge(visit.id, { ...data, changes }, iso());
    return true;
  }
  if (code === 409 && data?.visit) return takeNewer(visit, data, submitting);
  if (code === 422) {
    await store.changeVisit(visit.id, (kept) => {
      kept.findings = data.findings;
    });
    await trouble(visit.id, "refused", data.detail, false);
  } else if (code === 410 && visit.back && visit.back !== data?.discarded_at) {
    await store.changeVisit(visit.id, (kept) => {
      kept.back = data?.discarded_at ?? null;
    });
    return true;
  } else if (code === 410 || (code === 404 && visit.revision !== null)) {
    await trouble(
      visit.id,
      "gone",
      gettext("This visit was deleted on the server. Your copy is still on this phone."),
      true,
    );
  } else {
    await trouble(
      visit.id,
      "not-taken",
      data?.detail ?? gettext("The server refused it (error {code}).", { code }),
      true,
    );
  }
  return false;
}

/** The server's copy is newer than we knew: take in what we did not change ourselves, go on. */
async function takeNewer(visit, data, submitting) {
  const changed = await store.merge(visit.id, data, iso());
  if (!store.EDITABLE.includes(data.visit.state)) {
    const left = (await unsent(visit.id)).length;
    const state = HANDED_IN[data.visit.state];
    await store.changeVisit(visit.id, (kept) => {
      kept.wants_submit = false;
    });
    if (left) {
      const words = [
        ngettext(
          "The visit is already {state}; {number} later entry is saved on this phone only.",
          "The visit is already {state}; {number} later entries are saved on this phone only.",
          left,
          { state },
        ),
        gettext("Ask the coordinator to send the visit back, then send again."),
      ].join(" ");
      await trouble(visit.id, "closed", words, true);
    }
    return false;
  }
  if (submitting && changed) {
    await trouble(
      visit.id,
      "look-again",
      gettext("Someone changed this visit in another place. Look at it again, then submit."),
      false,
    );
    return false;
  }
  return true;
}

function trouble(id, kind, words, stops) {
  return store.changeVisit(id, (visit) =>
    Object.assign(visit, { wants_submit: false, trouble: { kind, words, stops } }),
  );
}

/** Try a visit again that was put aside with a trouble. `anew`: begin it again on the server. */
export async function retry(id, { anew = false } = {}) {
  await store.changeVisit(id, (visit) => {
    visit.trouble = null;
    if (anew) Object.assign(visit, { revision: null, back: store.WANTED_BACK });
  });
  return syncAll();
}

/** Throw a draft away here and, when it may have got there, on the server. */
export async function throwAway(visit, again = false) {
  const sent = (await store.cellsOf(visit.id)).some((cell) => cell.sent.length > 0);
  if (visit.revision !== null || sent) {
    const { person, csrf } = await hello(config.hello, PATIENCE_MS).catch(refuseUnlessSignedIn);
    if (person.id !== visit.person.id)
      throw new Error(
        gettext("You are signed in as {name}; only {other} can delete this draft.", {
          name: person.name,
          other: visit.person.name,
        }),
      );
    // Somebody may sign in on this phone while the request is on its way.
    const url = `${config.visits}${visit.id}/?observer=${visit.person.id}`;
    const answer = await call("DELETE", url, undefined, csrf);
    if ([401, 403, 404].includes(answer.status) && !again) return throwAway(visit, true);
    if (answer.status !== 204 && answer.status !== 404)
      throw new Error(answer.data?.detail ?? gettext("It is still on the server."));
  }
  return store.dropVisit(visit.id);
}

function refuseUnlessSignedIn(error) {
  throw error instanceof SignedOut ? new Error(SIGN_IN[error.kind]) : error;
}

async function call(method, url, body, csrf, revision) {
  const headers = { Accept: "application/json" };
  if (csrf) headers["X-CSRFToken"] = csrf;
  if (body !== undefined) headers["Content-Type"] = "application/json";
  if (revision !== undefined) headers["If-Match"] = `"${revision}"`;
  return ask(
    url,
    { method, headers, body: body === undefined ? undefined : JSON.stringify(body) },
    { patienceMs: PATIENCE_MS, read },
  );
}

/** An answer may tear on its way, or be none of our server. */
async function read(response) {
  if (response.type === "opaqueredirect") return { status: 401, data: null };
  const words = await response.text();
  const data = parsed(words);
  if (response.ok && response.status !== 204 && data === null)
    throw new Error("not an answer from our server");
  return { status: response.status, data };
}

function parsed(words) {
  try {
    return JSON.parse(words);
  } catch {
    return null;
  }
}
