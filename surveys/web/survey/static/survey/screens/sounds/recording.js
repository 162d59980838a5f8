// Making a recording at a stop.
import { gettext } from "../../language.js";
import { button, dialog, h, setAttribute, setText, strip, svg } from "../../dom.js";
import { model, stopText, undo, writeStop } from "../../model.js";
import { NoSound, record } from "../../recorder.js";
import { soon } from "../../recordings.js";
import { showRecording } from "./dialog.js";
import { clockOf, KINDS, lengthOf, minutesAndSeconds } from "./words.js";

const TOO_LOUD = 0.92;
const BARS = 24;
const INSTRUCTIONS = {
  voucher: gettext("Hold still and point the phone at the calls. Each second is saved right away."),
  note: gettext("Speak now. Each second is saved right away."),
};

/** A call that the observer does not know: recorded, spoken of or written down, and noted at the stop. */
export function askAboutUnnamedCall(app, number) {
  const recordAs = (kind) => () => {
    box.close();
    startRecording(app, number, kind, { unnamed: true });
  };
  const box = dialog(
    gettext("Unknown call"),
    h(
      "p",
      null,
      gettext("Record the call, or describe it. The coordinator will listen to it later. ") +
        gettext("Tap “?” at a species only if you think it was that one."),
    ),
    h(
      "ul",
      { class: "plain-list picks" },
      h(
        "li",
        null,
        button(gettext("Record the call"), recordAs("voucher"), {
          kind: "primary large block",
          name: "record",
        }),
      ),
      h("li", null, button(gettext("Voice note"), recordAs("note"), { kind: "block", name: "record" })),
    ),
    addedNote(number),
  );
}

/** A box whose every letter is added at once to what the stop's note says already. */
function addedNote(number) {
  const before = stopText(number)("note");
  const box = h("textarea", {
    id: "added-note",
    rows: 3,
    oninput: () =>
      writeStop(number, { note: [before, box.value].filter(Boolean).join(" ") }, { undo: false }),
  });
  return h("div", { class: "field" }, h("label", { for: "added-note" }, gettext("Or write a note")), box);
}

/** Record at once, while species are tapped; the strip that comes up ends it. */
export async function startRecording(app, number, kind, { unnamed = false } = {}) {
  const time = h("div", { class: "big-number", role: "timer", "aria-live": "off" }, "0:00");
  const bars = meter();
  const advice = h("p", null, gettext("Opening the microphone … If your browser asks, tap Allow."));
  const end = button(gettext("Stop and save"), stop, { kind: "primary large block" });
  const box = strip(
    kind === "note" ? gettext("Voice note") : gettext("Recording"),
    h("div", { class: "strip__row" }, time, bars.node),
    advice,
    end,
  );
  let recorder = null;
  let isAsked = false;
  let isOpen = true;
  box.addEventListener("close", () => {
    isOpen = false;
    recorder?.stop();
  });
  function stop() {
    isAsked = true;
    box.close();
  }
  const heard = (level, seconds) => {
    setText(time, minutesAndSeconds(seconds));
    bars.set(level);
    setText(advice, level > TOO_LOUD ? gettext("Too loud: point the phone away.") : INSTRUCTIONS[kind]);
  };
  const over = (recording, why) => {
    box.close();
    if (why) app.trouble(why);
    // Nothing comes up unasked over the species that are tapped.
    if (recording) noteKept(app, number, recording, { unnamed, isAsked });
  };
  try {
    recorder = await record(newRecording(app, number, kind), { heard, over });
    app.say(gettext("Recording"));
    if (!isOpen) recorder.stop();
  } catch (error) {
    if (!(error instanceof NoSound)) throw error;
    box.close();
    app.trouble(error.message);
  }
}

const newRecording = (app, number, kind) => ({
  slug: app.config.slug,
  visit: model.visit.id,
  person: model.visit.person.id,
  stop: number,
  species: "",
  kind,
});

async function noteKept(app, number, recording, { unnamed, isAsked }) {
  const saved = gettext("{kind} of {length} saved", {
    kind: KINDS[recording.kind],
    length: lengthOf(recording),
  });
  if (unnamed) {
    const lines = [
      stopText(number)("note"),
      gettext("Unknown call at {clock_of}.", { clock_of: clockOf(recording) }),
    ];
    await writeStop(number, { note: lines.filter(Boolean).join(" ") });
    app.snack(gettext("{saved}, and a line added to the note of stop {number}", { saved, number }), undo);
  } else app.snack(gettext("{saved} on this phone", { saved }));
  soon();
  // Whether it is worth keeping shows while the calls can still be recorded again.
  const again = () => startRecording(app, number, recording.kind);
  if (isAsked && recording.kind === "voucher") showRecording(app, recording.id, again);
}

/** Bars that rise with the loudness: a node, and `set(level)` with a level of 0 to 1. */
function meter() {
  const bars = Array.from({ length: BARS }, (_, i) => svg("rect", { x: 10 * i, y: 2, width: 7, height: 20 }));
  const node = svg(
    "svg",
    {
      viewBox: `0 0 ${10 * BARS} 24`,
      class: "meter",
      preserveAspectRatio: "none",
      role: "img",
      "aria-label": gettext("Loudness"),
    },
    bars,
  );
  const set = (level) =>
    bars.forEach((bar, i) => setAttribute(bar, "data-on", i < level * BARS ? "yes" : null));
  return { node, set };
}
