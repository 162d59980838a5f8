// The visit that is open: its cells as they are on the phone, and the packet they are read against.
import { iso, nightOf, now } from "./clock.js";
import { readTime } from "./clocktimes.js";
import { keepReferences } from "./references.js";
import * as store from "./store.js";
import { carriedStops, inUse, stopCells, stopsOf } from "./visitstops.js";

const listeners = new Set();
const undone = [];
// Texts of this tab that are not on the disk yet: what is read from there meanwhile is older.
const underWay = new Map();
const MOST_UNDO = 50;
let readings = 0;
let leaping = null;

/** The open visit with its surroundings; null while none is open. */
export const model = {
  visit: null,
  cells: new Map(),
  records: [],
  packet: null,
  route: null,
  stops: [],
  tonight: null,
  version: null,
};

export function onChange(listener) {
  listeners.add(listener);
}

function changed() {
  for (const listener of listeners) listener();
}

export const packetKey = (slug, code) => `${slug}/${code}`;
export const text = (address) => model.cells.get(address) ?? "";
export const stopText = (number) => (name) => text(`stops.${number}.${name}`);
/** The instant of a clock cell of a stop, in milliseconds; null when it has none. */
export const stopTime = (number) => (name) =>
  readTime(stopText(number)(name), stopText(number)(`${name}.fold`), {
    night: model.visit.night,
    zone: model.route.time_zone,
  });
export const conflicts = () => model.records.filter(store.inConflict);
export const unsent = () => model.records.filter((cell) => store.isPending(cell) && !store.inConflict(cell));

/** Open a visit of this phone; false when it is not here. Nothing is changed once `overtaken()`. */
export async function openVisit(id, overtaken, config) {
  const visit = await store.get("visits", id);
  if (!visit) return false;
  const packet =
    (await store.get("packets", visit.packet)) ?? (await fetchPacket(config, visit.route.code)).packet;
  if (!packet || overtaken()) return false;
  Object.assign(model, { visit, cells: new Map(), records: [] });
  readAgainst(packet);
  undone.length = 0;
  await reload();
  return true;
}

/** Where no visit is open, open the one of tonight with a stop that was begun and not finished. */
export async function openUnderWay(overtaken, config) {
  if (model.visit) return;
  const visits = (await store.getAll("visits")).filter((visit) => visit.slug === config.slug);
  for (const { id } of visits.filter(store.isOfTonight)) {
    const typed = new Map((await store.cellsOf(id)).map((cell) => [cell.address, cell.text]));
    const isBegun = ([address, text]) =>
      text && /\.(arrived|started)_at$/.test(address) && !typed.get(address.replace(/\w+$/, "finished_at"));
    if (overtaken()) return;
    if ([...typed].some(isBegun)) await openVisit(id, overtaken, config);
  }
}

function readAgainst(packet) {
  const { visit, cells } = model;
  Object.assign(model, {
    packet,
    route: packet.route,
    tonight: packet.nights[visit.night] ?? null,
    version: packet.versions[visit.version] ?? Object.values(packet.versions).at(-1),
    stops: stopsOf(packet, visit, cells),
  });
}

export const close = () => Object.assign(model, { visit: null, cells: new Map(), records: [] });

/** Read the cells again, after another tab or the server changed them; false when the visit is
    not on the phone any more. */
export async function reload() {
  if (!model.visit) return true;
  const reading = ++readings;
  const [visit, records] = await Promise.all([
    store.get("visits", model.visit.id),
    store.cellsOf(model.visit.id),
  ]);
  if (reading !== readings) return true;
  if (!visit) return false;
  model.visit = leaping ? { ...visit, leap: leaping } : visit;
  model.records = records;
  model.cells = new Map(records.map((cell) => [cell.address, cell.text]));
  for (const [address, { typed }] of underWay) model.cells.set(address, typed);
  for (const [address, typed] of model.cells) if (!typed) model.cells.delete(address);
  model.stops = stopsOf(model.packet, visit, model.cells);
  changed();
  return true;
}

/** Write texts at once; the promise resolves when they are on the disk. */
export async function write(texts, { undo = true } = {}) {
  const before = Object.fromEntries(Object.keys(texts).map((address) => [address, text(address)]));
  const entries = Object.entries(texts).map(([address, typed]) => [address, { typed }]);
  for (const [address, entry] of entries) {
    underWay.set(address, entry);
    if (entry.typed) model.cells.set(address, entry.typed);
    else model.cells.delete(address);
  }
  if (undo) undone.push(before);
  if (undone.length > MOST_UNDO) undone.shift();
  changed();
  try {
    await store.writeCells(model.visit.id, texts);
  } catch (error) {
    // What is not on the disk is not shown.
    if (undo) undone.splice(undone.lastIndexOf(before), 1);
    settled(entries);
    await reload();
    throw error;
  }
  settled(entries);
  await reload();
}

function settled(entries) {
  for (const [address, entry] of entries) if (underWay.get(address) === entry) underWay.delete(address);
}

export const writeStop = (number, texts, options) =>
  write(
    Object.fromEntries(Object.entries(texts).map(([name, typed]) => [`stops.${number}.${name}`, typed])),
    options,
  );

/** Take every entry at a stop off the sheet. */
export const clearStop = (number) =>
  write(Object.fromEntries(stopCells(model.cells, number).map((address) => [address, ""])));

export async function undo() {
  const before = undone.pop();
  if (before) await write(before, { undo: false });
}

/** Change what belongs to the visit but to no cell, such as a pause that still lasts. */
export async function note(change) {
  Object.assign(model.visit, await store.changeVisit(model.visit.id, change));
  changed();
}

const underWayAt = (number) => stopTime(number)("started_at") !== null && !stopText(number)("finished_at");

/** The clock leapt ahead in the middle of listening: kept until the observer has said why. */
export function leapt(ms) {
  const stop = model.visit && model.stops.find(({ number }) => underWayAt(number));
  if (!stop) return;
  const before = model.visit.leap?.stop === stop.number ? model.visit.leap.ms : 0;
  // At once, so that nothing is written by the new time before it is on the disk.
  const leap = { stop: stop.number, ms: before + ms };
  leaping = model.visit.leap = leap;
  note((visit) => {
    visit.leap = leap;
  }).finally(() => {
    if (leaping === leap) leaping = null;
  });
}

/** Whether the leap is on the disk; until then a reload would not know of it. */
export const isLeapKept = () => leaping === null;

/** The visits of a night that are on the phone, of the person whom the packet is for. */
export async function visitsOf(slug, packet, night) {
  const isOfNight = (visit) =>
    visit.slug === slug &&
    visit.route.code === packet.route.code &&
    visit.night === night &&
    visit.person.id === packet.person.id;
  return (await store.getAll("visits")).filter(isOfNight);
}

/** Begin the visit of a night, or go on with it where it was begun. */
export async function beginVisit(slug, packet, night) {
  const tonight = packet.nights[night];
  const known = await visitsOf(slug, packet, night);
  const begun = known.find(({ state }) => store.EDITABLE.includes(state));
  if (begun) return begun.id;
  const before = [...known, ...(await store.thrownAway(slug)).map(({ visit }) => visit)];
  const id = before.some((visit) => visit.id === tonight?.visit) ? crypto.randomUUID() : tonight?.visit;
  const visit = blankVisit(slug, packet, night, id ?? crypto.randomUUID());
  const { temperature_unit, rain_unit } = packet.route;
  const texts = { night, temperature_unit, ...(rain_unit && { rain_unit }) };
  return (await store.addVisit(visit, texts)).id;
}

function blankVisit(slug, packet, night, id) {
  const version = packet.nights[night]?.version ?? Number(Object.keys(packet.versions).at(-1));
  return {
    id,
    slug,
    night,
    version,
    person: packet.person,
    packet: packet.key,
    route: { code: packet.route.code, name: packet.route.name },
    stops: carriedStops(packet, night),
    revision: null,
    state: "draft",
    wants_submit: false,
    trouble: null,
    findings: [],
    begun_at: iso(),
    synced_at: null,
    timer: null,
  };
}

/** A route from the server; without signal there is no answer. */
export async function fetchPacket({ packets, slug }, code) {
  const answer = await fetch(`${packets}${code}.json`, { redirect: "manual" }).catch(() => null);
  const packet = answer?.ok ? await keepPacket(slug, await answer.json()) : null;
  if (packet) keepReferences(packet).catch(() => {});
  return { answer, packet };
}

/** Keep a packet, and the open visits that came with it. A visit that is open is read against it. */
export async function keepPacket(slug, data) {
  const key = packetKey(slug, data.route.code);
  const { visits, ...rest } = data;
  const packet = { ...rest, key, slug, taken_at: iso() };
  await store.put("packets", packet);
  await store.setSetting("clock-ahead", now() - Date.parse(data.made_at));
  for (const came of visits) {
    const visit = {
      ...blankVisit(slug, packet, came.night, came.id),
      version: came.protocol_version,
      stops: came.stops,
      revision: came.revision,
      state: came.state,
      sent_back_note: came.sent_back_note,
      withdrawn: came.withdrawn,
      synced_at: iso(),
    };
    await store.addVisit(visit, came.cells);
    await store.merge(came.id, { visit: came, onlyNewer: true }, iso());
  }
  if (model.visit?.packet === key) readAgainst(packet);
  return packet;
}

/** The program's own fields that are asked on the night of the visit. */
export const ownFields = () =>
  (model.packet.own_fields ?? [])
    .filter((field) => inUse(field, model.visit.night))
    .map((field) => ({ ...field, required: field.required !== null && field.required <= model.visit.night }));
export const thisNight = (packet) => nightOf(now(), packet.route.time_zone);
