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
/** { id, person, route, zone, back_by, contact, contact_name, car, back_at, version, sent, told, trouble } */
let kept = null;

const name = () => `check-in/${config.slug}`;

export async function start(settings, onNews) {
  config = settings;
  kept = await store.setting(name(), null);
  // Who was out yesterday, and with which car, is nobody's business today.
  if (kept && !current()) {
    kept = null;
    await store.setSetting(name(), null);
  }
  sender.onStatus(onNews);
  window.addEventListener("online", () => sender.startOver());
  if (kept) sender.soon();
}

/** The evening that is not over: set, and not answered, or the answer is not sent. */
export function current() {
  const isOver = kept && now() > Date.parse(kept.back_by) + DAY_MS;
  return isOver ? null : kept;
}

export const isLate = () => Date.parse(kept.back_by) < now();

/** Stored first; what cannot be stored is not shown. */
export async function set(facts) {
  const before = current();
  const is_new = !before || before.back_at || before.person !== facts.person;
  const id = is_new ? crypto.randomUUID() : before.id;
  await keep({ car: "", ...(is_new ? {} : before), ...facts, id, back_at: null });
}

export const back = () => keep({ ...kept, back_at: iso() });

async function keep(next) {
  const changed = { ...next, version: iso(), sent: false, trouble: "" };
  await store.setSetting(name(), changed);
  kept = changed;
  sender.notify();
  sender.startOver();
}

async function send(how, again = false) {
  kept = config && (await store.setting(name(), null));
  if (!kept || kept.sent) return sender.say("idle");
  const going = kept;
  const { person, csrf } = await hello(config.hello, PATIENCE_MS);
  if (person.id !== going.person) return sender.say("other-person");
  const { route, back_by, contact, car, back_at, person: observer } = going;
  const answer = await ask(
    `${config.check_ins}${going.id}/`,
    {
      method: "PUT",
      headers: { Accept: "application/json", "Content-Type": "application/json", "X-CSRFToken": csrf },
      // Somebody may sign in on this phone while the request is on its way.
      body: JSON.stringify({ route, back_by, contact, car, back_at, observer }),
    },
    { patienceMs: PATIENCE_MS, read },
  );
  if ([401, 403, 404].includes(answer.code) && !again) return send(how, true);
  if (kept.version === going.version) await answered(answer);
  return sender.say("idle");
}

const read = async (response) => ({ ok: response.ok, code: response.status, data: await response.json() });

/** What is answered and sent is no longer needed here. */
async function answered({ ok, data }) {
  const trouble = ok ? "" : (data.detail ?? gettext("The site did not take the return time."));
  kept = kept.back_at ? null : { ...kept, sent: true, told: Boolean(data.overdue_at), trouble };
  await store.setSetting(name(), kept);
}
