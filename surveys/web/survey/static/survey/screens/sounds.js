// Recordings at a stop: making one, hearing it, saying what it is, deleting it.
import { button, dialog, h, setAttribute, setText, svg } from "../dom.js";
import { model, stopText, undo, writeStop } from "../model.js";
import { NoSound, record } from "../recorder.js";
import { listWords, ofVisit, retry, sendingWords, soon, whereWords } from "../recordings.js";
import { clock, duration } from "../rules/words.js";
import { fileOf, change, get, remove } from "../soundstore.js";
import { textBox } from "./conditions.js";

const KINDS = { voucher: "Voucher recording", note: "Voice note" };
const LOUD = 0.92;
const BARS = 24;

/** The part of a stop's screen that is about sound. */
export function stopSounds(app, number) {
  const list = h("ul", { class: "plain-list picks" });
  const state = h("p", { class: "small", role: "status" });
  const node = h(
    "section",
    { "aria-labelledby": "sound-title" },
    h("h2", { id: "sound-title" }, "Recordings"),
    h(
      "div",
      { class: "pair" },
      button("Record what calls", () => start(app, number, "voucher"), { name: "record" }),
      button("Cannot name it", () => cannotName(app, number), { name: "query" }),
    ),
    state,
    list,
  );
  return { node, update: () => draw(app, list, state, ofVisit(model.visit?.id, number)) };
}

/** All recordings of the visit, for the summary; hidden while there are none. */
export function visitSounds(app) {
  const list = h("ul", { class: "plain-list picks" });
  const state = h("p", { role: "status" });
  const node = h(
    "section",
    { "aria-labelledby": "sound-title" },
    h("h2", { id: "sound-title" }, "Recordings"),
    state,
    list,
  );
  const update = () => {
    const found = ofVisit(model.visit?.id);
    node.hidden = !found.length;
    draw(app, list, state, found, true);
  };
  return { node, update };
}

function draw(app, list, state, found, withStop = false) {
  setText(state, [listWords(found), found.length ? sendingWords() : ""].filter(Boolean).join(" "));
  const rows = found.map((one) => [one, titleOf(one, withStop), factsOf(one)]);
  const key = JSON.stringify(rows.map(([one, ...words]) => [one.id, ...words]));
  if (list.dataset.key === key) return;
  list.dataset.key = key;
  const focused = document.activeElement?.dataset.recording;
  list.replaceChildren(
    ...rows.map(([one, title, facts]) =>
      h(
        "li",
        null,
        h(
          "button",
          {
            type: "button",
            class: "btn btn--block pick",
            "data-recording": one.id,
            onclick: () => show(app, one.id),
          },
          h("strong", null, title),
          h("span", { class: "small" }, facts),
        ),
      ),
    ),
  );
  if (focused) list.querySelector(`[data-recording="${focused}"]`)?.focus();
}

function nameOf({ species }) {
  if (!species) return "species not named";
  return everything().find(([code]) => code === species)?.[1] ?? species;
}

const everything = () => [
  ...model.packet.species.map((one) => [one.code, one.common_name]),
  ...model.packet.others,
];
const titleOf = (one, withStop) =>
  [
    withStop && one.stop ? `Stop ${one.stop}` : "",
    one.kind === "voucher" ? nameOf(one).replace(/^s/, "S") : KINDS.note,
  ]
    .filter(Boolean)
    .join(": ");
const atClock = (one) => clock(Date.parse(one.begun_at), model.route.time_zone);
const long = (seconds) => duration(Math.max(1, Math.round(seconds)));
const factsOf = (one) => `${atClock(one)}, ${long(one.seconds)}. ${whereWords(one)}`;

/** A call that the observer does not know: recorded, spoken of or written down, and noted at the stop. */
function cannotName(app, number) {
  const go = (kind) => () => {
    box.close();
    start(app, number, kind, { unnamed: true });
  };
  const box = dialog(
    "A call you cannot name",
    h(
      "p",
      null,
      [
        "Keep the sound, or say what it was like. The coordinator listens to it later.",
        "Tap “?” at a species only if you think it was that one.",
      ].join(" "),
    ),
    h(
      "ul",
      { class: "plain-list picks" },
      h(
        "li",
        null,
        button("Record the call", go("voucher"), { kind: "primary large block", name: "record" }),
      ),
      h("li", null, button("Say what you heard", go("note"), { kind: "block", name: "record" })),
    ),
    textBox(`stops.${number}.note`, "Or write it down", { rows: 3 }),
  );
}

/** Record at once; the dialog that comes up ends it. */
async function start(app, number, kind, { unnamed = false } = {}) {
  const time = h("div", { class: "big-number", role: "timer", "aria-live": "off" }, "0:00");
  const bars = meter();
  const words = h("p", null, "Opening the microphone …");
  const end = button("Stop and keep", () => box.close(), { kind: "primary large block" });
  const box = dialog(kind === "note" ? "Voice note" : "Recording", time, bars.node, words, end);
  let machine = null;
  let open = true;
  box.addEventListener("close", () => {
    open = false;
    machine?.stop();
  });
  const heard = (level, seconds) => {
    setText(time, stamp(seconds));
    bars.set(level);
    setText(
      words,
      level > LOUD
        ? "Too loud: point the phone away."
        : kind === "note"
          ? "Speak now. Every second is stored at once."
          : "Hold still and point the phone at the calls. Every second is stored at once.",
    );
  };
  const over = (recording, why) => {
    box.close();
    if (why) app.trouble(why);
    if (recording) keep(app, number, recording, unnamed);
  };
  const about = {
    slug: app.config.slug,
    visit: model.visit.id,
    person: model.visit.person.id,
    stop: number,
    species: "",
    kind,
  };
  try {
    machine = await record(about, { heard, over });
    app.say("Recording");
    if (!open) machine.stop();
  } catch (error) {
    if (!(error instanceof NoSound)) throw error;
    for (const part of [time, bars.node, end]) part.remove();
    setText(words, error.message);
    words.className = "message message--error";
    app.alarm(error.message);
  }
}

async function keep(app, number, recording, unnamed) {
  if (unnamed) {
    const note = [stopText(number)("note"), `A call at ${atClock(recording)} not named.`]
      .filter(Boolean)
      .join(" ");
    await writeStop(number, { note });
    app.snack(
      `${KINDS[recording.kind]} of ${long(recording.seconds)} kept, and a line in the note of stop ${number}`,
      undo,
    );
  } else app.snack(`${KINDS[recording.kind]} of ${long(recording.seconds)} kept on this phone`);
  soon();
  if (recording.kind === "voucher" && !unnamed) show(app, recording.id);
}

/** One recording: hear it, name it, delete it. */
async function show(app, id) {
  const one = await get(id);
  if (!one) return;
  const fixed = one.begun || one.state !== "kept" || one.kind !== "voucher";
  const heardHere = everything().filter(([code]) => !["", "0"].includes(stopText(one.stop)(`calls.${code}`)));
  const others = everything().filter((row) => !heardHere.includes(row));
  const option = ([code, name]) => h("option", { value: code, selected: code === one.species }, name);
  const names = h(
    "select",
    {
      id: "sound-species",
      onchange: () =>
        change(id, (it) => {
          it.species = names.value;
        }),
    },
    option(["", "Not named"]),
    h("optgroup", { label: "Heard at this stop" }, heardHere.map(option)),
    h("optgroup", { label: "Other species" }, others.map(option)),
  );
  const player = playing(app, one);
  const box = dialog(
    `${KINDS[one.kind]}, ${atClock(one)}`,
    h("p", null, `Stop ${one.stop}, ${long(one.seconds)}. ${whereWords(one)}`),
    fixed
      ? one.kind === "voucher" && h("p", null, `Species: ${nameOf(one)}.`)
      : h("div", { class: "field" }, h("label", { for: "sound-species" }, "What calls"), names),
    player.node,
    one.trouble?.stops
      ? button(
          "Try to send it again",
          () => {
            retry(id);
            box.close();
          },
          { kind: "block", name: "sync" },
        )
      : null,
    one.state === "kept"
      ? button("Delete this recording", () => askDelete(app, box, one), {
          kind: "quiet block",
          name: "close",
        })
      : null,
  );
  box.addEventListener("close", player.stop);
}

function askDelete(app, before, one) {
  before.close();
  const box = dialog(
    "Delete this recording?",
    h("p", null, `${KINDS[one.kind]} of ${atClock(one)}, ${long(one.seconds)}. It cannot be brought back.`),
    button(
      "Delete it",
      async () => {
        box.close();
        await remove(one.id);
        soon();
        app.snack("The recording is deleted");
      },
      { kind: "danger block" },
    ),
  );
}

/** A player of our own: the browser's would shine white at night. */
function playing(app, one) {
  const time = h("span", { class: "num" });
  const audio = new Audio();
  let url = null;
  const press = button("Play", () => (audio.paused ? play() : audio.pause()), { kind: "block", name: "ear" });
  const label = press.querySelector("span");
  const told = () => {
    setText(label, audio.paused ? "Play" : "Pause");
    setText(time, `${stamp(audio.currentTime)} of ${stamp(one.seconds)}`);
  };

  async function play() {
    url ??= one.state === "sent" ? `${app.config.sounds}${one.id}` : URL.createObjectURL(await fileOf(one));
    if (!audio.src) audio.src = url;
    if (audio.ended) audio.currentTime = 0;
    await audio
      .play()
      .catch(() =>
        setText(
          time,
          one.state === "sent"
            ? "The sound is on the server only: it plays with a network."
            : "This browser cannot play it; it is kept all the same.",
        ),
      );
  }

  function stop() {
    audio.pause();
    audio.removeAttribute("src");
    if (url?.startsWith("blob:")) URL.revokeObjectURL(url);
  }
  for (const name of ["play", "pause", "ended", "timeupdate"]) audio.addEventListener(name, told);
  told();
  return { node: h("div", { class: "player" }, press, time), stop };
}

/** Bars that rise with the loudness. */
function meter() {
  const bars = Array.from({ length: BARS }, (_, i) => svg("rect", { x: 10 * i, y: 2, width: 7, height: 20 }));
  const node = svg(
    "svg",
    {
      viewBox: `0 0 ${10 * BARS} 24`,
      class: "meter",
      preserveAspectRatio: "none",
      role: "img",
      "aria-label": "Loudness",
    },
    bars,
  );
  const set = (level) =>
    bars.forEach((bar, i) => setAttribute(bar, "data-on", i < level * BARS ? "yes" : null));
  return { node, set };
}

function stamp(seconds) {
  const whole = Math.floor(seconds);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}
