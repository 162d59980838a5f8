// What the phone keeps: packets, visits, and every cell of their sheets by itself, so that two tabs
// never overwrite each other.
//
// A cell: { visit, address, text, base, sent, theirs }. `base` is the text that the server is known
// to have; `sent` are texts that went out without an answer, any of which it may have; `theirs` is
// there while both sides changed the cell and nobody has chosen.
import { now } from "./clock.js";
import { answered, database } from "./database.js";
import { forgetReferences } from "./references.js";

const NAME = "duskpool-survey";
/** `back` of a visit that is wanted again: this, then when the server says it was thrown away. */
export const WANTED_BACK = "wanted";
export const EDITABLE = ["draft", "sent_back"];
const STORES = { packets: "key", visits: "id", cells: ["visit", "address"], settings: "name" };
const news = new BroadcastChannel(NAME);
const listeners = new Set();
export const transact = database(NAME, STORES);

const ofVisit = (id) => IDBKeyRange.bound([id], [id, []]);
const blank = (visit, address) => ({ visit, address, text: "", base: "", sent: [] });
export const isPending = (cell) => cell.text !== cell.base || cell.sent.length > 0;
export const inConflict = (cell) => cell.theirs !== undefined;

/** What is told in place of a visit where routes have left the phone. */
export const PLACES = "places";

/** Tell this tab and the others that a visit changed, or is no longer on the phone. */
export function tell(visit) {
  news.postMessage(visit);
  for (const listener of listeners) listener(visit);
}

/** Hear of visits that changed, by id, but for key presses of this tab. */
export function onNews(listener) {
  listeners.add(listener);
  news.addEventListener("message", ({ data }) => listener(data));
}

export const getAll = (name) => transact([name], "readonly", (t) => answered(t.objectStore(name).getAll()));
export const get = (name, key) => transact([name], "readonly", (t) => answered(t.objectStore(name).get(key)));
export const put = (name, value) =>
  transact([name], "readwrite", (t) => answered(t.objectStore(name).put(value)));

const THREE_DAYS_MS = 259_200_000;
/** A night is named by the day it begins, and over by noon of the next; the clock of a phone may be a day
    ahead, and nobody is left without the route for that. */
export const isOfTonight = ({ night, state }) =>
  EDITABLE.includes(state) && now() < Date.parse(night) + THREE_DAYS_MS;

/** How the names of settings begin that hold practice with calls: program and person follow. */
export const PRACTICE = "practice/";

/** Routes go from this phone, but for those of visits that `inUse` says are gone on with. What somebody
    confuses goes, too; answers that are not sent stay. */
export function forgetPlaces(inUse = () => false) {
  return transact(["packets", "visits", "settings"], "readwrite", async (t) => {
    const settings = t.objectStore("settings");
    for (const { name, value } of await answered(settings.getAll()))
      if (name.startsWith(PRACTICE) && value)
        settings.put({ name, value: { ...value, tallies: {}, at: "" } });
    const packets = t.objectStore("packets");
    const visits = await answered(t.objectStore("visits").getAll());
    const kept = new Set(visits.filter(inUse).map(({ packet }) => packet));
    const gone = (await answered(packets.getAllKeys())).filter((key) => !kept.has(key));
    for (const key of gone) packets.delete(key);
    return gone.length;
  })
    .then((gone) => gone && tell(PLACES))
    .then(forgetReferences);
}

export async function setting(name, otherwise) {
  return (await get("settings", name))?.value ?? otherwise;
}

export const setSetting = (name, value) => put("settings", { name, value });

/** What `make` makes of a setting, which another tab may change at the same time. */
export const changeSetting = (name, make) =>
  transact(["settings"], "readwrite", async (t) => {
    const settings = t.objectStore("settings");
    const before = (await answered(settings.get(name)))?.value;
    return answered(settings.put({ name, value: make(before) }));
  });

export const cellsOf = (id) =>
  transact(["cells"], "readonly", (t) => answered(t.objectStore("cells").getAll(ofVisit(id))));

/** Change a visit's record; `change` gets it and alters it. */
export function changeVisit(id, change) {
  return transact(["visits"], "readwrite", async (t) => {
    const visit = await answered(t.objectStore("visits").get(id));
    if (!visit) return null;
    change(visit);
    t.objectStore("visits").put(visit);
    return visit;
  }).then((visit) => {
    tell(id);
    return visit;
  });
}

/** Begin a visit with its first cells, unless it is there already. */
export function addVisit(visit, texts) {
  return transact(["visits", "cells"], "readwrite", async (t) => {
    const known = await answered(t.objectStore("visits").get(visit.id));
    if (known) return known;
    t.objectStore("visits").put(visit);
    for (const [address, text] of Object.entries(texts)) {
      t.objectStore("cells").put({ ...blank(visit.id, address), text, base: visit.revision ? text : "" });
    }
    return visit;
  });
}

/** Write typed texts: cell address to text. This is each key press. */
export function writeCells(id, texts) {
  return transact(["visits", "cells"], "readwrite", async (t) => {
    if (!(await answered(t.objectStore("visits").get(id))))
      throw new Error("this visit was deleted in another window");
    const cells = t.objectStore("cells");
    for (const [address, text] of Object.entries(texts)) {
      const cell = (await answered(cells.get([id, address]))) ?? blank(id, address);
      cells.put({ ...cell, text });
    }
  }).then(() => news.postMessage(id));
}

/** The observer's choice between both sides of a conflict. */
export function choose(id, address, text) {
  return transact(["cells"], "readwrite", async (t) => {
    const cell = await answered(t.objectStore("cells").get([id, address]));
    if (!cell || !inConflict(cell)) return;
    const { theirs, ...rest } = cell;
    t.objectStore("cells").put({ ...rest, text, base: theirs, sent: [] });
  }).then(() => tell(id));
}

/** Note what goes out now: address to { was, now }. `whole`: the whole sheet. */
export function beginSending(id, whole = false) {
  return transact(["cells"], "readwrite", async (t) => {
    const changes = {};
    for (const cell of await answered(t.objectStore("cells").getAll(ofVisit(id)))) {
      if (!(isPending(cell) || (whole && cell.text)) || inConflict(cell)) continue;
      changes[cell.address] = { was: cell.base, now: cell.text };
      if (!cell.sent.includes(cell.text))
        t.objectStore("cells").put({ ...cell, sent: [...cell.sent, cell.text] });
    }
    return changes;
  });
}

/** Take in an answer of the server: its copy of the visit, and what became of `changes`.
    `onlyNewer`: a copy that may have been overtaken on its way.
    Returns whether a text on the phone changed by it. */
export function merge(id, { visit: theirs, conflicts = [], findings, changes = {}, onlyNewer = false }, at) {
  return transact(["visits", "cells"], "readwrite", async (t) => {
    const [visits, cells] = [t.objectStore("visits"), t.objectStore("cells")];
    const visit = await answered(visits.get(id));
    if (!visit || (onlyNewer && visit.revision !== null && theirs.revision <= visit.revision)) return false;
    // A server that moved on takes nothing more that we sent before.
    const certain = theirs.revision > (visit.revision ?? 1);
    const open = EDITABLE.includes(theirs.state);
    const known = new Map((await answered(cells.getAll(ofVisit(id)))).map((cell) => [cell.address, cell]));
    const clashes = new Map(conflicts.map((conflict) => [conflict.address, conflict.theirs]));
    let changed = false;
    for (const address of new Set([...known.keys(), ...Object.keys(theirs.cells)])) {
      const before = known.get(address) ?? blank(id, address);
      const after = mergedCell(before, theirs.cells[address] ?? "", changes[address], clashes.get(address), {
        certain,
        open,
      });
      changed ||= after.text !== before.text || inConflict(after) !== inConflict(before);
      cells.put(after);
    }
    const { revision, state, protocol_version: judged, protocol_in_force: inForce } = theirs;
    visits.put({
      ...visit,
      revision,
      state,
      judged_by: judged,
      in_force: inForce ?? visit.in_force,
      // Of two phones, the first one said which stops it took along.
      stops: Object.keys(theirs.stops ?? {}).length ? theirs.stops : visit.stops,
      sent_back_note: theirs.sent_back_note,
      withdrawn: theirs.withdrawn,
      findings: findings ?? visit.findings,
      synced_at: at,
      trouble: null,
      back: null,
    });
    return changed;
  }).then((changed) => {
    tell(id);
    return changed;
  });
}

function mergedCell(cell, onServer, sent, clash, { certain, open }) {
  if (clash !== undefined) {
    // Our own earlier sending got through although its answer did not.
    if (cell.sent.includes(clash) || clash === cell.text) return { ...cell, base: clash, sent: [] };
    return { ...cell, theirs: clash, sent: [] };
  }
  if (sent) return { ...cell, base: sent.now, sent: [] };
  if (inConflict(cell)) {
    const { theirs, ...rest } = cell;
    return onServer === cell.text ? { ...rest, base: onServer } : { ...cell, theirs: onServer };
  }
  if (!isPending(cell)) return { ...cell, text: onServer, base: onServer };
  if (!certain) return cell;
  if ([cell.base, cell.text, ...cell.sent].includes(onServer)) return { ...cell, base: onServer, sent: [] };
  // Whoever handed the visit in has chosen; ours waits until it is sent back.
  return open ? { ...cell, theirs: onServer, sent: [] } : cell;
}

/** How the names of settings begin that hold visits that were thrown away here. */
export const THROWN = "thrown-away:";
const KEPT_MS = 14 * 86_400_000;

/** Take a visit off the phone's list; for two weeks it can be brought back. */
export function dropVisit(id) {
  return transact(["visits", "cells", "settings"], "readwrite", async (t) => {
    const visit = await answered(t.objectStore("visits").get(id));
    const cells = await answered(t.objectStore("cells").getAll(ofVisit(id)));
    if (visit) t.objectStore("settings").put({ name: THROWN + id, value: { visit, cells, at: Date.now() } });
    t.objectStore("visits").delete(id);
    t.objectStore("cells").delete(ofVisit(id));
  }).then(() => tell(id));
}

/** Visits that were thrown away here and can still be brought back: { visit, cells, at } each. */
export async function thrownAway(slug) {
  const thrown = (await getAll("settings")).filter(({ name }) => name.startsWith(THROWN));
  const expired = thrown.filter(({ value }) => Math.abs(Date.now() - value.at) > KEPT_MS);
  if (expired.length)
    await transact(["settings"], "readwrite", async (t) =>
      expired.forEach(({ name }) => t.objectStore("settings").delete(name)),
    );
  return thrown
    .filter((entry) => !expired.includes(entry) && entry.value.visit.slug === slug)
    .map(({ value }) => value);
}

/** The visit as it was thrown away, as a draft that the server is to begin again. */
export function bringBack(id) {
  return transact(["visits", "cells", "settings"], "readwrite", async (t) => {
    const kept = (await answered(t.objectStore("settings").get(THROWN + id)))?.value;
    if (!kept) return;
    t.objectStore("visits").put({
      ...kept.visit,
      revision: null,
      state: "draft",
      wants_submit: false,
      trouble: null,
      back: WANTED_BACK,
    });
    for (const { theirs, ...cell } of kept.cells) t.objectStore("cells").put({ ...cell, base: "", sent: [] });
    t.objectStore("settings").delete(THROWN + id);
  }).then(() => tell(id));
}
