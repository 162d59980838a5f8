// The paper sheet: every key press is kept in this browser at once and sent to the server soon
// after, so that a reload, a dead connection or a lost session cost nothing. Without this module
// the sheet is a plain form with a Save button.

const SAVE_AFTER_MS = 600;
const RETRY_AFTER_MS = 8000;

const data = JSON.parse(document.getElementById("sheet-data").textContent);
const form = document.getElementById("sheet");
const status = document.getElementById("sheet-status");
const rulesSay = document.getElementById("rules-say");
const storeKey = `duskpool.sheet.${data.visit}`;
const server = new Map(Object.entries(data.cells));

const pending = readStore();
let timer = null;
let sending = false;

function cellInputs() {
  return document.querySelectorAll("[data-cell]");
}

function inputOf(address) {
  const input = document.getElementById(address);
  return input?.matches("[data-cell]") ? input : null;
}

function readStore() {
  try {
    return new Map(Object.entries(JSON.parse(localStorage.getItem(storeKey) ?? "{}")));
  } catch {
    return new Map();
  }
}

function writeStore() {
  try {
    if (pending.size) localStorage.setItem(storeKey, JSON.stringify(Object.fromEntries(pending)));
    else localStorage.removeItem(storeKey);
    return true;
  } catch {
    return false;
  }
}

function say(text, kind = "") {
  status.textContent = text;
  status.dataset.kind = kind;
}

function sayWithLink(text, linkText, href) {
  say(text, "warning");
  const link = document.createElement("a");
  link.href = href;
  link.textContent = linkText;
  status.append(" ", link);
}

function typed(input) {
  const address = input.id;
  const was = pending.get(address)?.was ?? server.get(address) ?? "";
  pending.set(address, { was, now: input.value });
  say(writeStore() ? "Kept in this browser, being saved …" : "Being saved …");
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
    await answered(response, sent);
  } catch {
    say("No connection. What you typed is kept in this browser and will be sent.", "warning");
    sendSoon(RETRY_AFTER_MS);
  } finally {
    sending = false;
  }
}

async function answered(response, sent) {
  if (response.type === "opaqueredirect" || response.status === 403) {
    sayWithLink("You are signed out. What you typed is kept in this browser.", "Sign in again", data.login);
    return;
  }
  if (!response.ok) {
    const detail = (await response.json().catch(() => ({}))).detail;
    say(detail ?? "The server has trouble. What you typed is kept in this browser.", "error");
    if (response.status >= 500) sendSoon(RETRY_AFTER_MS);
    return;
  }
  const answer = await response.json();
  const conflicts = new Map(answer.conflicts.map((conflict) => [conflict.address, conflict]));
  takeOver(answer.cells);
  for (const [address, change] of sent) {
    const latest = pending.get(address);
    if (latest?.now === change.now) pending.delete(address);
    else if (latest) latest.was = change.now;
  }
  writeStore();
  showFindings(answer.findings);
  rulesSay.innerHTML = answer.rules_say;
  for (const conflict of conflicts.values()) showConflict(conflict);
  if (pending.size) sendSoon(0);
  else if (conflicts.size)
    say("Saved, but some cells were changed elsewhere too. They are marked.", "warning");
  else if (sent.size)
    say(`Saved at ${new Date().toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" })}.`);
  else say("All that is typed is saved on the server.");
}

// The server's texts, for every cell in which nothing new was typed here: another tab or device,
// or a save that overtook a reload, may have filled them.
function takeOver(cells) {
  for (const input of cellInputs()) {
    const text = cells[input.id] ?? "";
    if (!pending.has(input.id) && input.value !== text) show(input, text);
  }
  server.clear();
  for (const [address, text] of Object.entries(cells)) server.set(address, text);
}

function show(input, text) {
  if (input.tagName === "SELECT" && ![...input.options].some((option) => option.value === text)) {
    input.add(new Option(text, text));
  }
  input.value = text;
}

function noteOf(finding) {
  return finding.cell
    ? document.getElementById(`said-${finding.cell}`)
    : document.querySelector(`[data-stop-said="${finding.stop}"]`);
}

function showFindings(findings) {
  for (const note of document.querySelectorAll(".cell-note")) {
    note.replaceChildren();
    note.closest("td, .field")?.removeAttribute("data-severity");
  }
  for (const input of cellInputs()) input.removeAttribute("aria-invalid");
  const rank = ["note", "query", "refuse"];
  for (const finding of findings) {
    const note = noteOf(finding);
    if (!note) continue;
    const one = document.createElement("span");
    one.className = "cell-note__one";
    const why = document.createElement("a");
    why.href = finding.why;
    why.textContent = "Why?";
    one.append(finding.message, " ", why);
    note.append(one);
    const box = note.closest("td, .field");
    if (box && rank.indexOf(finding.severity) > rank.indexOf(box.dataset.severity)) {
      box.dataset.severity = finding.severity;
    }
    if (finding.severity === "refuse") inputOf(finding.cell)?.setAttribute("aria-invalid", "true");
  }
}

function showConflict({ address, mine, theirs }) {
  const input = inputOf(address);
  const note = document.getElementById(`said-${address}`);
  if (!input || !note) return;
  const take = (text) => () => {
    input.value = text;
    typed(input);
    choice.remove();
    input.focus();
  };
  const button = (words, text) => {
    const made = document.createElement("button");
    made.type = "button";
    made.className = "btn btn--small";
    made.textContent = words;
    made.addEventListener("click", take(text));
    return made;
  };
  const choice = document.createElement("span");
  choice.className = "cell-note__one";
  choice.append(
    "Changed elsewhere too. ",
    button(`Keep “${mine}”`, mine),
    " ",
    button(`Take “${theirs}”`, theirs),
  );
  note.append(choice);
}

function move(event) {
  const input = event.target;
  const cell = input.closest(".sheet td");
  if (!cell || event.altKey || event.ctrlKey || event.metaKey) return;
  const row = cell.parentElement;
  const step = {
    ArrowUp: [-1, 0],
    ArrowDown: [1, 0],
    ArrowLeft: [0, -1],
    ArrowRight: [0, 1],
    Enter: [event.shiftKey ? -1 : 1, 0],
  }[event.key];
  if (!step || (input.tagName === "SELECT" && event.key !== "Enter")) return;
  const [down, right] = step;
  if (right && !caretAtEdge(input, right)) return;
  event.preventDefault();
  const rows = row.parentElement.rows;
  const target =
    rows[row.sectionRowIndex + down]?.cells[cell.cellIndex + right]?.querySelector("[data-cell]");
  target?.focus();
  target?.select?.();
}

function caretAtEdge(input, right) {
  const { selectionStart, selectionEnd, value } = input;
  if (selectionStart === 0 && selectionEnd === value.length) return true;
  return right > 0 ? selectionStart === value.length : selectionEnd === 0;
}

for (const [address, change] of pending) {
  const input = inputOf(address);
  if (server.get(address) === change.now) pending.delete(address);
  if (input && pending.has(address)) show(input, change.now);
}
// On a slow line people type before this module is there.
for (const input of cellInputs()) {
  if (!pending.has(input.id) && input.value !== (server.get(input.id) ?? "")) typed(input);
}
if (pending.size) say("Some of what you typed had not reached the server. It is being sent now.");

document.addEventListener("input", (event) => {
  if (event.target.matches("[data-cell]")) typed(event.target);
});
document.addEventListener("keydown", (event) => {
  if (event.target.matches("[data-cell]")) move(event);
});
form.addEventListener("submit", () => {
  // The form carries every cell itself, so nothing is left to send.
  clearTimeout(timer);
  form.elements.rendered.value = JSON.stringify(Object.fromEntries(server));
});
window.addEventListener("online", () => sendSoon(0));
sendSoon(0);
