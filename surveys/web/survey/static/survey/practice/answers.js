// Answers in practice: kept on the phone, and sent when there is signal. What the site knows of them comes
// back with each, so that the next question follows what was confused anywhere.
import { gettext } from "../language.js";
import { iso } from "../clock.js";
import { ask } from "../http.js";
import { Stranger, createSender, hello } from "../sender.js";
import { PRACTICE, changeSetting, getAll, setting } from "../store.js";
import { compare, tallied } from "./scoring.js";

const PATIENCE_MS = 20_000;
const sender = createSender({ lock: "duskpool-practice", delayMs: 0, work: send });
// Of a person: { person, tallies, at, answers }. `tallies` are those that the server told at `at`; `answers`
// are those that it does not have, each { id, question, named, answered_at, trouble }.
const nothing = (person) => ({ person, tallies: {}, at: "", answers: [] });
const nameOf = (slug, person) => `${PRACTICE}${slug}/${person}`;
let config = null;

export const { onStatus } = sender;

export function start(settings) {
  config = settings;
  window.addEventListener("online", () => sender.startOver());
  sender.soon();
}

const keptOf = async (slug, person) => (await setting(nameOf(slug, person), null)) ?? nothing(person);

/** What a person knows and confuses: as the server told last, and what it does not have yet. */
export async function talliesOf({ slug, person, made_at: madeAt, practice }) {
  const { tallies, at, answers } = await keptOf(slug, person.id);
  const told = at && Date.parse(at) > Date.parse(madeAt) ? tallies : practice.tallies;
  const rows = answers.map(({ question, named }) => compare(question.voices, named));
  return tallied(told, rows);
}

/** Those that wait for signal, and those that the site refused with the reason in `trouble`. */
export async function unsentOf(slug, person) {
  const { answers } = await keptOf(slug, person);
  return {
    waiting: answers.filter(({ trouble }) => !trouble),
    refused: answers.filter(({ trouble }) => trouble),
  };
}

/** Stored before anything is shown of it. */
export async function keep({ slug, person }, question, named) {
  const given = { id: crypto.randomUUID(), question, named, answered_at: iso(), trouble: "" };
  await change(slug, person.id, (kept) => ({ ...kept, answers: [...kept.answers, given] }));
  sender.startOver();
}

/** Delete the refused ones. */
export const dropRefused = (slug, person) =>
  change(slug, person, (kept) => ({ ...kept, answers: kept.answers.filter(({ trouble }) => !trouble) }));

const change = (slug, person, make) =>
  changeSetting(nameOf(slug, person), (kept) => make(kept ?? nothing(person)));

async function send(how, again = false) {
  const own = nameOf(config.slug, "");
  const rows = (await getAll("settings")).filter(({ name, value }) => value && name.startsWith(own));
  const waiting = rows.flatMap(({ value: { person, answers } }) =>
    answers.filter(({ trouble }) => !trouble).map((given) => ({ person, given })),
  );
  if (!waiting.length) return sender.say("idle");
  const { person, csrf } = await hello(config.hello, PATIENCE_MS);
  for (const { given } of waiting.filter((one) => one.person === person.id)) {
    const answer = await put(given, person.id, csrf);
    // Somebody may have signed in on this phone meanwhile.
    if ([401, 403, 404].includes(answer.code) && !again) return send(how, true);
    if ([401, 403].includes(answer.code)) throw new Stranger();
    await change(config.slug, person.id, (kept) => answered(kept, given, answer));
  }
  return sender.say(waiting.some((one) => one.person !== person.id) ? "other-person" : "idle");
}

function put({ id, question, named, answered_at }, observer, csrf) {
  const played = { ...question, recording: question.recording || null };
  return ask(
    `${config.practice_answers}${id}/`,
    {
      method: "PUT",
      headers: { Accept: "application/json", "Content-Type": "application/json", "X-CSRFToken": csrf },
      body: JSON.stringify({ question: played, named, answered_at, observer }),
    },
    {
      patienceMs: PATIENCE_MS,
      read: async (response) => ({
        ok: response.ok,
        code: response.status,
        data: response.type === "opaqueredirect" ? null : await response.json(),
      }),
    },
  );
}

/** What is sent is no longer needed here; a refused one is told, and not sent again. */
function answered(kept, given, { ok, data }) {
  const others = kept.answers.filter(({ id }) => id !== given.id);
  if (ok) return { ...kept, tallies: data.tallies, at: data.told_at, answers: others };
  const trouble = data?.detail ?? gettext("The site did not take it.");
  return { ...kept, answers: [...others, { ...given, trouble }] };
}
