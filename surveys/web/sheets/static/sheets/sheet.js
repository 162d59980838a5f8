// The paper sheet: every key press is kept in this browser at once and sent to the server soon
// after, so that a reload, a dead connection or a lost session cost nothing. Without this module
// the sheet is a plain form with a Save button.
import { gettext } from "../survey/language.js";
import { clock } from "../survey/rules/words.js";
import { moveByKey } from "./arrow-keys.js";
import "./heads.js";
import "./keys.js";
import "./slips.js";
import { cellInputs, inputOf, showText } from "./cells.js";
import { showConflict, showFindings } from "./findings.js";
import { PendingChanges } from "./store.js";

const SAVE_AFTER_MS = 600;
const RETRY_AFTER_MS = 8000;

const data = JSON.parse(document.getElementById("sheet-data").textContent);
const form = document.getElementById("sheet");
const status = document.getElementById("sheet-status");
const rulesSay = document.getElementById("rules-say");

/** The texts that the server is known to have. */
const saved = new Map(Object.entries(data.cells));
const pending = new PendingChanges(data.visit);
let timer = null;
let sending = false;

function showStatus(text, kind = "") {
  status.textContent = text;
  status.dataset.kind = kind;
}

function showSignedOut() {
  showStatus(gettext("You are signed out. What you typed is kept in this browser."), "warning");
  const link = document.createElement("a");
  link.href = data.login;
  link.textContent = gettext("Sign in again");
  status.append(" ", link);
}

function keep(input) {
  const address = input.id;
  const was = pending.get(address)?.was ?? saved.get(address) ?? "";
  pending.set(address, { was, now: input.value });
  showStatus(pending.save() ? gettext("Kept in this browser, being saved …") : gettext("Being saved …"));
  sendSoon(SAVE_AFTER_MS);
}

function sendSoon(delay) {
  clearTimeout(timer);
  timer = setTimeout(send, delay);
}

async function send() {
  if (sending) return;
  sending = true;
  const sent = new Map([...pending].map(([address, change]) => [address, { ...change }]));
  try {
    const response = await fetch(data.url, {
      method: "PATCH",
      headers: { "Content-Type": "application/json", "X-CSRFToken": form.elements.csrfmiddlewaretoken.value },
      body: JSON.stringify({ changes: Object.fromEntries(sent) }),
      redirect: "manual",
    });
    await handleResponse(response, sent);
  } catch {
    showStatus(gettext("No connection. What you typed is kept in this browser and will be sent."), "warning");
    sendSoon(RETRY_AFTER_MS);
  } finally {
    sending = false;
  }
}

async function handleResponse(response, sent) {
  if (response.type === "opaqueredirect" || response.status === 403) return showSignedOut();
  if (!response.ok) return handleError(response);
  const { cells, conflicts, findings, rules_say } = await response.json();
  showSaved(cells);
  forget(sent);
  showFindings(findings);
  rulesSay.innerHTML = rules_say;
  for (const conflict of conflicts) showConflict(conflict, choose);
  if (pending.size) sendSoon(0);
  else showStatus(...outcome(sent, conflicts));
}

async function handleError(response) {
  const detail = (await response.json().catch(() => ({}))).detail;
  showStatus(detail ?? gettext("The server has trouble. What you typed is kept in this browser."), "error");
  if (response.status >= 500) sendSoon(RETRY_AFTER_MS);
}

function outcome(sent, conflicts) {
  if (conflicts.length)
    return [gettext("Saved, but some cells were changed elsewhere too. They are marked."), "warning"];
  if (!sent.size) return [gettext("All changes saved.")];
  return [gettext("Saved at {time}.", { time: clock(Date.now()) })];
}

// The server's texts, for every cell in which nothing new was typed here: another tab or device,
// or a save that overtook a reload, may have filled them.
function showSaved(cells) {
  for (const input of cellInputs()) {
    const text = cells[input.id] ?? "";
    if (!pending.has(input.id) && input.value !== text) showText(input, text);
  }
  saved.clear();
  for (const [address, text] of Object.entries(cells)) saved.set(address, text);
}

/** What was sent is pending no more, unless more was typed since. */
function forget(sent) {
  for (const [address, change] of sent) {
    const latest = pending.get(address);
    if (latest?.now === change.now) pending.delete(address);
    else if (latest) latest.was = change.now;
  }
  pending.save();
}

function choose(input, text) {
  input.value = text;
  keep(input);
  input.focus();
}

function restorePending() {
  for (const [address, change] of pending) {
    const input = inputOf(address);
    if (saved.get(address) === change.now) pending.delete(address);
    if (input && pending.has(address)) showText(input, change.now);
  }
  // On a slow line people type before this module is there.
  for (const input of cellInputs()) {
    if (!pending.has(input.id) && input.value !== (saved.get(input.id) ?? "")) keep(input);
  }
  if (pending.size)
    showStatus(gettext("Some of what you typed had not reached the server. It is being sent now."));
}

restorePending();
document.addEventListener("input", (event) => {
  if (event.target.matches("[data-cell]")) keep(event.target);
});
document.addEventListener("keydown", (event) => {
  if (event.target.matches("[data-cell]")) moveByKey(event);
});
form.addEventListener("submit", ({ submitter }) => {
  // The form carries every cell itself, so nothing is left to send.
  clearTimeout(timer);
  if (submitter?.name === "clear_stop") pending.forgetStop(submitter.value);
  form.elements.rendered.value = JSON.stringify(Object.fromEntries(saved));
});
window.addEventListener("online", () => sendSoon(0));
sendSoon(0);
