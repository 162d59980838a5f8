// Review: keyboard shortcuts that can be switched off, and drafts of what is typed but not sent.
// Without this module every form and link does the same by itself.
import { gettext } from "../survey/language.js";

const SWITCH_KEY = "duskpool.review.keys";
const DRAFT_KEY = `duskpool.review.drafts.${window.location.pathname.match(/[0-9a-f-]{36}/)?.[0] ?? ""}`;

function read(storage, key, fallback) {
  try {
    return JSON.parse(storage.getItem(key)) ?? fallback;
  } catch {
    return fallback;
  }
}

function write(storage, key, value) {
  try {
    storage.setItem(key, JSON.stringify(value));
  } catch {
    // A browser that keeps nothing still has the page itself.
  }
}

// Shortcuts

const help = document.querySelector(".keys[data-keys]");
const list = help?.querySelector("[data-keys-list]");
const onOff = help?.querySelector("[data-keys-switch]");
let on = read(localStorage, SWITCH_KEY, true);

function showSwitch() {
  if (!help) return;
  help.hidden = false;
  onOff.setAttribute("aria-pressed", String(on));
  onOff.textContent = on ? gettext("Shortcuts are on") : gettext("Shortcuts are off");
  list.classList.toggle("is-off", !on);
}

function isTyping(element) {
  return (
    element instanceof HTMLElement &&
    element.matches("input:not([type=radio], [type=checkbox]), select, textarea")
  );
}

function openQueries() {
  return [...document.querySelectorAll("[data-open-query]")];
}

function currentQuery() {
  return (
    document.activeElement?.closest("[data-open-query]") ?? document.querySelector("[data-open-query]:target")
  );
}

function goTo(query) {
  if (!query) return;
  query.focus();
  query.scrollIntoView({ block: "nearest" });
}

const steps = {
  q() {
    const queries = openQueries();
    goTo(queries[(queries.indexOf(currentQuery()) + 1) % queries.length]);
  },
  s() {
    const query = currentQuery() ?? openQueries()[0];
    const answers = query?.querySelectorAll(".settle input[type=radio]") ?? [];
    ([...answers].find((answer) => answer.checked) ?? answers[0])?.focus();
  },
};

function press(event) {
  if (event.key === "Escape" && isTyping(event.target)) return event.target.blur();
  if (!on || event.ctrlKey || event.altKey || event.metaKey || event.repeat || isTyping(event.target)) return;
  if (document.querySelector("dialog[open]")) return;
  const key = event.key.toLowerCase();
  const target = document.querySelector(`[data-key="${CSS.escape(key)}"]`);
  if (!target && !steps[key]) return;
  event.preventDefault();
  if (target) target.click();
  else steps[key]();
}

onOff?.addEventListener("click", () => {
  on = !on;
  write(localStorage, SWITCH_KEY, on);
  showSwitch();
});
if (help) document.addEventListener("keydown", press);
showSwitch();

// Drafts: settling one query loads the page anew; what stands in the other forms must survive it.

const drafts = new Map(Object.entries(read(sessionStorage, DRAFT_KEY, {})));

function draftFields() {
  return document.querySelectorAll("[data-draft] textarea, [data-draft] input[type=radio]");
}

function keyOf(field) {
  const form = field.closest("[data-draft]").dataset.draft;
  return `${form} ${field.name}${field.type === "radio" ? ` ${field.value}` : ""}`;
}

function asSent(field) {
  return field.type === "radio" ? field.defaultChecked : field.defaultValue;
}

function keep() {
  drafts.clear();
  for (const field of draftFields()) {
    const value = field.type === "radio" ? field.checked : field.value;
    if (value !== asSent(field)) drafts.set(keyOf(field), value);
  }
  write(sessionStorage, DRAFT_KEY, Object.fromEntries(drafts));
}

for (const field of draftFields()) {
  const draft = drafts.get(keyOf(field));
  const answered = field.form.querySelector("textarea").defaultValue;
  // What the server sends back filled in is newer than any draft.
  if (draft === undefined || answered) continue;
  if (field.type === "radio") field.checked = draft;
  else field.value = draft;
}
document.addEventListener("input", (event) => {
  if (event.target.closest?.("[data-draft]")) keep();
});
document.addEventListener("submit", (event) => {
  // From here on the server has it, and gives it back when it cannot be used.
  const sent = event.target.dataset.draft;
  for (const key of drafts.keys()) if (sent && key.startsWith(`${sent} `)) drafts.delete(key);
  write(sessionStorage, DRAFT_KEY, Object.fromEntries(drafts));
});
