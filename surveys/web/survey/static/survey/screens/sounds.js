// Recordings of a stop and of a visit: the lists of them, and the buttons that make one.
import { gettext } from "../language.js";
import { button, h, setText } from "../dom.js";
import { model } from "../model.js";
import { listWords, ofVisit, sendingWords } from "../recordings.js";
import { showRecording } from "./sounds/dialog.js";
import { askAboutUnnamedCall, startRecording } from "./sounds/recording.js";
import { factsOf, titleOf } from "./sounds/words.js";

/** The part of a stop's screen that is about sound. */
export function stopSounds(app, number) {
  const buttons = h(
    "div",
    null,
    whatIsAsked(),
    h(
      "div",
      { class: "pair" },
      button(gettext("Record this call"), () => startRecording(app, number, "voucher"), { name: "record" }),
      button(gettext("Unknown call"), () => askAboutUnnamedCall(app, number), { name: "query" }),
    ),
  );
  const { node, show } = recordingList(app, { buttons });
  return { node, update: () => show(ofVisit(model.visit?.id, number)) };
}

/** Shown while the browser is still to ask for the microphone. */
function whatIsAsked() {
  const words = gettext("The first time you record, your browser will ask for the microphone. Tap Allow.");
  const node = h("p", { class: "small muted", hidden: true }, words);
  navigator.permissions
    ?.query({ name: "microphone" })
    .then(({ state }) => {
      node.hidden = state !== "prompt";
    })
    .catch(() => {});
  return node;
}

/** All recordings of the visit, for the summary; hidden while there are none. */
export function visitSounds(app) {
  const { node, show } = recordingList(app, { withStop: true });
  const update = () => {
    const recordings = ofVisit(model.visit?.id);
    node.hidden = !recordings.length;
    show(recordings);
  };
  return { node, update };
}

/** A section, and `show(recordings)`, which draws its list anew where something changed. */
function recordingList(app, { buttons = null, withStop = false }) {
  const list = h("ul", { class: "plain-list picks" });
  const state = h("p", { class: buttons ? "small" : null, role: "status" });
  const heading = h("h2", { id: "sound-title" }, gettext("Recordings"));
  const node = h("section", { "aria-labelledby": "sound-title" }, heading, buttons, state, list);
  let drawn = "";

  function show(recordings) {
    const sending = recordings.length ? sendingWords() : "";
    setText(state, [listWords(recordings), sending].filter(Boolean).join(" "));
    const rows = recordings.map((recording) => ({
      id: recording.id,
      title: titleOf(recording, withStop),
      facts: factsOf(recording),
    }));
    const key = JSON.stringify(rows);
    if (drawn === key) return;
    drawn = key;
    const focused = document.activeElement?.dataset.recording;
    list.replaceChildren(...rows.map((row) => listItem(app, row)));
    if (focused) list.querySelector(`[data-recording="${focused}"]`)?.focus();
  }
  return { node, show };
}

function listItem(app, { id, title, facts }) {
  const attributes = {
    type: "button",
    class: "btn btn--block pick",
    "data-recording": id,
    onclick: () => showRecording(app, id),
  };
  return h(
    "li",
    null,
    h("button", attributes, h("strong", null, title), h("span", { class: "small" }, facts)),
  );
}
