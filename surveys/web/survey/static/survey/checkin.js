// The return time of an evening: kept on the phone, and sent whenever there is signal.
import { gettext } from "./language.js";
import { iso, now } from "./clock.js";
import { ask } from "./http.js";
import { createSender, hello } from "./sender.js";
import * as store from "./store.js";

const PATIENCE_MS = 20_000;
const DAY_MS = 86_400_000;
const sender = createSender({ lock: "duskpool-check-in", delayMs: 0, work: send });
let config = null;
/** By person, for a phone may be shared. Each: { id, person, person_name, route, zone, back_by, contact,
    contact_name, car, back_at, version, sent, told, trouble } */
let kept = new Map();

const olderName = () => `check-in/${config.slug}`;
const nameOf = (person) => `${olderName()}/${person}`;

export async function start(settings, onNews) {
  config = settings;
  await read();
  // Who was out yesterday, and with which car, is nobody's business today.
  for (const one of kept.values()) if (isOver(one)) await forget(one.person);
  sender.onStatus(onNews);
  window.addEventListener("online", () => sender.startOver());
  if (kept.size) sender.soon();
}

async function read() {
  const { person, ...older } = (await store.setting(olderName(), null)) ?? {};
  if (person) await store.setSetting(nameOf(person), { person, ...older });
  if (person) await store.setSetting(olderName(), null);
  const rows = (await store.getAll("settings")).filter(
    ({ name, value }) => value && name.startsWith(nameOf("")),
  );
  kept = new Map(rows.map(({ value }) => [value.person, value]));
}

async function forget(person) {
  kept.delete(person);
  await store.setSetting(nameOf(person), null);
}

const isOver = ({ back_by }) => now() > Date.parse(back_by) + DAY_MS;

/** The evenings that are not over: set, and not answered, or the answer is not sent. */
export const open = () => [...kept.values()].filter((one) => !isOver(one));

/** That of one person. */
export const openOf = (person) => open().find((one) => one.person === person) ?? null;

export const isLate = ({ back_by }) => Date.parse(back_by) < now();

/** Stored first; what cannot be stored is not shown. */
export async function set(facts) {
  const before = openOf(facts.person);
  const is_new = !before || before.back_at;
  const id = is_new ? crypto.randomUUID() : before.id;
  await keep({ car: "", ...(is_new ? {} : before), ...facts, id, back_at: null });
}

export const back = (one) => keep({ ...one, back_at: iso() });

async function keep(next) {
  const changed = { ...next, version: iso(), sent: false, trouble: "" };
  await store.setSetting(nameOf(next.person), changed);
  kept.set(next.person, changed);
  sender.notify();
  sender.startOver();
}

async function send(how, again = false) {
  if (config) await read();
  const waiting = [...kept.values()].filter(({ sent }) => !sent);
  if (!waiting.length) return sender.say("idle");
  const { person, csrf } = await hello(config.hello, PATIENCE_MS);
  const going = waiting.find((one) => one.person === person.id);
  if (!going) return sender.say("other-person");
  const { route, back_by, contact, car, back_at, person: observer } = going;
  const answer = await ask(
    `${config.check_ins}${going.id}/`,
    {
      method: "PUT",
      headers: { Accept: "application/json", "Content-Type": "application/json", "X-CSRFToken": csrf },
      // Somebody may sign in on this phone while the request is on its way.
      body: JSON.stringify({ route, back_by, contact, car, back_at, observer }),
    },
    { patienceMs: PATIENCE_MS, read: readAnswer },
  );
  if ([401, 403, 404].includes(answer.code) && !again) return send(how, true);
  if (kept.get(observer)?.version === going.version) await answered(going, answer);
  return sender.say(waiting.length > 1 ? "other-person" : "idle");
}

const readAnswer = async (response) => ({
  ok: response.ok,
  code: response.status,
  data: await response.json(),
});

/** What is answered and sent is no longer needed here. */
async function answered(going, { ok, data }) {
  if (going.back_at) return forget(going.person);
  const trouble = ok ? "" : (data.detail ?? gettext("The site did not take the return time."));
  const next = { ...going, sent: true, told: Boolean(data.overdue_at), trouble };
  kept.set(going.person, next);
  return store.setSetting(nameOf(going.person), next);
}
