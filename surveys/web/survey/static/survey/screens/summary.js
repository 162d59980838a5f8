// The end of the route: weather, second observer, everything that is to be said, and sending it.
import { gettext } from "../language.js";
import { button, h, setSentences, setText } from "../dom.js";
import { allFindings, showFindings } from "../findings.js";
import { openTile } from "../leading.js";
import { conflicts, model, note, unsent } from "../model.js";
import { keptWords, protocolWords, sentBackWords, standsWords, syncWords, visitTitle } from "../status.js";
import { EDITABLE } from "../store.js";
import { AT_ENDS, conditions, ownNames } from "./conditions.js";
import { sendButton, signInLink } from "./signin.js";
import { visitSounds } from "./sounds.js";
import { show } from "./returntime.js";
import { textBox } from "./textbox.js";
import { companionSection } from "./summary/companion.js";
import { clashes } from "./summary/clashes.js";
import { stopFacts } from "./summary/facts.js";
import { AFTER_SUBMIT, askToSubmit, askToThrowAway } from "./summary/questions.js";
import { retryBox } from "./summary/retry.js";
import { wrongClock } from "./summary/times.js";

export function screen(app) {
  const { visit } = model;
  const server = serverPanel(app);
  const clock = wrongClock(app, update);
  const clash = clashes();
  const writtenDown = writtenSection(app);
  const sound = visitSounds(app);
  const editing = editingSection(app);
  const remarks = remarksSection(app);
  const actions = visitActions(app);
  const comingBack = openReturnTime();
  const back = sentBackBox();
  const parts = [comingBack, back, server, clock, clash, writtenDown, sound, editing, remarks, actions];

  function update() {
    const { state, wants_submit: isWaiting } = model.visit;
    const isOpen = EDITABLE.includes(state);
    const situation = { isOpen, isWaiting, waits: unsent().length, clashes: conflicts().length };
    for (const part of parts) part.update(situation);
  }

  const title = h("p", { class: "muted" }, visitTitle(visit));
  const node = h("div", null, title, ...parts.map((part) => part.node));
  const reveal = ({ field }) => openTile(node, field);
  return { title: gettext("Summary"), node, dock: actions.dock, update, reveal };
}

/** The evening is over: "We are back" is at hand. */
function openReturnTime() {
  const node = h("div");
  return { node, update: () => show(node) };
}

/** The coordinator's question, while the visit is to be fixed. */
function sentBackBox() {
  const node = h("div", { class: "message message--warning" });

  function update() {
    const words = sentBackWords(model.visit);
    node.hidden = !words.length;
    setSentences(node, words);
  }
  return { node, update };
}

/** What is on the phone and what is on the server. */
function serverPanel(app) {
  const { visit } = model;
  const state = h("div", { class: "kept", role: "status" });
  const again = retryBox(app);
  const send = sendButton(app, "block");
  const signIn = signInLink(app.config);
  const node = h(
    "section",
    { class: "panel panel--now", "aria-label": gettext("Phone and server") },
    state,
    again.node,
    send,
    signIn.node,
  );

  function update({ isWaiting, ...counts }) {
    const status = app.sync?.status ?? { kind: "idle" };
    const standing = { visit: model.visit, ...counts };
    setSentences(state, [
      standsWords(model.visit),
      model.visit.trouble?.words ?? keptWords(standing, model.route.time_zone),
      syncWords(status, [standing]),
      protocolWords(model.visit),
      ["submitted", "accepted"].includes(model.visit.state) ? gettext("Thank you.") : "",
      model.visit.state === "submitted" ? AFTER_SUBMIT : "",
    ]);
    again.update();
    send.hidden = !(counts.waits || isWaiting || app.sounds?.unsentWords(visit.id));
    signIn.show(app.sounds?.signedOut() ? "signed-out" : status.kind);
  }
  return { node, update };
}

function writtenSection(app) {
  const list = h("ul", { class: "plain-list picks" });
  const heading = h("h2", { id: "heard-title" }, gettext("Entries"));
  const node = h("section", { "aria-labelledby": "heard-title" }, heading, list);
  return { node, update: () => list.replaceChildren(...model.stops.map((stop) => stopFacts(app, stop))) };
}

function editingSection(app) {
  const weather = conditions(app, "end.", AT_ENDS, gettext("Weather at the end"), "end-title");
  const names = ownNames("visit");
  const own = conditions(app, "", names, gettext("Your program also asks"), "own-title");
  own.node.hidden = !names.length;
  const node = h(
    "div",
    null,
    weather.node,
    own.node,
    companionSection(),
    textBox("notes", gettext("Notes on the evening")),
  );

  function update({ isOpen }) {
    node.hidden = !isOpen;
    weather.update();
    own.update();
  }
  return { node, update };
}

function remarksSection(app) {
  const heading = h("h2", { id: "findings-title" });
  const list = h("ul", { class: "findings" });

  function update() {
    const remarks = allFindings();
    const words = gettext("Protocol check ({found})", { found: remarks.length });
    setText(heading, remarks.length ? words : gettext("No protocol questions"));
    showFindings(app, list, remarks);
  }
  return { node: h("section", { "aria-labelledby": "findings-title" }, heading, list), update };
}

/** Submitting in the dock, throwing away at the end of the page. */
function visitActions(app) {
  const withdraw = () => note((visit) => Object.assign(visit, { wants_submit: false }));
  const submit = button(gettext("Submit the visit"), () => askToSubmit(app), {
    kind: "primary large block",
    name: "submitted",
  });
  const undo = button(gettext("Keep as draft"), withdraw, { kind: "block" });
  const throwAway = button(gettext("Delete draft"), () => askToThrowAway(app), {
    kind: "quiet block",
    name: "close",
  });
  const dock = h("div", { class: "dock" }, submit, undo);

  function update({ isOpen, isWaiting, clashes: count }) {
    submit.hidden = !isOpen || isWaiting || count > 0;
    undo.hidden = !(isOpen && isWaiting);
    dock.hidden = submit.hidden && undo.hidden;
    throwAway.hidden = model.visit.state !== "draft" || isWaiting;
  }
  return { node: throwAway, dock, update };
}
