// The end of the route: weather, second observer, everything that is to be said, and sending it.
import { iso, nightOf } from "../clock.js";
import { button, dialog, h, icon, setSentences, setText } from "../dom.js";
import { allFindings, showFindings } from "../findings.js";
import { conflicts, model, note, stopText, unsent, write } from "../model.js";
import { clock, day } from "../rules/words.js";
import { clockWords, keptWords, protocolWords, stateWords, syncWords } from "../saying.js";
import { forgetVisit } from "../soundstore.js";
import { choose, setting } from "../store.js";
import { heardAt } from "./calls.js";
import { AT_ENDS, conditions, textBox } from "./conditions.js";
import { signInLink } from "./signin.js";
import { visitSounds } from "./sounds.js";

const TIMES = /^stops\.\d+\.(arrived|started|finished)_at$/;
const INSTANT = /^\d{4}-\d{2}-\d{2}T/;
const BLANK = "(blank)";

export function screen(app) {
  const { visit, stops } = model;
  const zone = model.route.time_zone;
  const open = () => ["draft", "sent_back"].includes(model.visit.state);
  const end = conditions(app, "end", AT_ENDS, "Weather at the end", "end-title");
  const list = h("ul", { class: "findings" });
  const counted = h("h2", { id: "found-title" });
  const heard = h("dl", { class: "facts" });
  const state = h("div", { class: "kept", role: "status" });
  const clashes = h("div");
  const wrong = h("div");
  const submit = button("Submit the visit", ask, { kind: "primary large block", name: "submitted" });
  const undoSubmit = button(
    "Do not submit yet",
    () =>
      note((one) => {
        one.wants_submit = false;
      }),
    { kind: "block" },
  );
  const send = button(
    "Send now",
    () => {
      app.sync?.syncAll();
      app.sounds?.soon(0, { anyway: true });
    },
    { kind: "block", name: "sync" },
  );
  const signIn = signInLink(app.config);
  const again = h("div", { class: "actions" });
  const away = button("Throw this draft away", throwAway, { kind: "quiet block", name: "close" });
  const sound = visitSounds(app);
  const editing = h(
    "div",
    null,
    end.node,
    textBox("second_observer", "Second observer, if there was one", { rows: 1 }),
    textBox("notes", "Notes on the evening"),
  );
  const node = h(
    "div",
    null,
    h("p", { class: "muted" }, `${visit.route.code} ${visit.route.name}, night of ${day(visit.night)}`),
    h(
      "section",
      { class: "panel panel--now", "aria-label": "Phone and server" },
      state,
      again,
      send,
      signIn.node,
    ),
    wrong,
    clashes,
    h("section", { "aria-labelledby": "heard-title" }, h("h2", { id: "heard-title" }, "Written down"), heard),
    sound.node,
    editing,
    h("section", { "aria-labelledby": "found-title" }, counted, list),
    away,
  );

  function ask() {
    const found = allFindings();
    const refused = found.filter(({ severity }) => severity === "refuse").length;
    const left = stops.filter(
      ({ number }) => !stopText(number)("status") && !stopText(number)("started_at"),
    ).length;
    const box = dialog(
      "Submit the visit?",
      h(
        "p",
        null,
        `${stops.length - left} of ${stops.length} stops are written down. ${found.length ? `The protocol has ${found.length} remarks; the coordinator sees them too.` : "The protocol has no remarks."}`,
      ),
      left ? h("p", null, "A stop that is left blank counts as not surveyed, not as silent.") : null,
      refused ? h("p", null, "Something impossible must be mended first; see the remarks.") : null,
      button(
        "Yes, submit",
        async () => {
          box.close();
          await note((one) => Object.assign(one, { wants_submit: true, trouble: null }));
          app.sync?.syncAll();
        },
        { kind: "primary large block" },
      ),
    );
  }

  function throwAway() {
    const box = dialog(
      "Throw this draft away?",
      h(
        "p",
        null,
        "Everything written down for this night goes, here and on the server. For two weeks this phone can bring it back; recordings cannot be brought back.",
      ),
      button(
        "Throw it away",
        async () => {
          box.close();
          try {
            await app.sync.throwAway(model.visit);
            await forgetVisit(app.config.slug, visit.id);
          } catch (error) {
            app.trouble(
              error.message ||
                "No network: a draft that reached the server can only be thrown away with signal.",
            );
          }
        },
        { kind: "danger block" },
      ),
    );
  }

  function draw() {
    const remarks = allFindings();
    setText(
      counted,
      remarks.length ? `What the protocol says (${remarks.length})` : "The protocol has no remarks",
    );
    showFindings(list, remarks);
    heard.replaceChildren(...stops.map(stopFacts));
  }

  function stopFacts({ number, name }) {
    const typed = stopText(number);
    const [from, to] = [typed("started_at"), typed("finished_at")].map((text) =>
      Number.isNaN(Date.parse(text)) ? text : clock(Date.parse(text), zone),
    );
    const skipped = typed("status") === "skipped";
    const listened = from || typed("status") === "listened";
    const words = skipped
      ? `skipped: ${typed("skip_reason") || "no reason"}`
      : heardAt(number).join(", ") || (listened ? "nothing heard" : "not reached");
    return h(
      "div",
      null,
      h("dt", null, `${number}. ${name}`),
      h("dd", null, words, h("small", null, skipped || !from ? "" : `${from} to ${to || "…"}`)),
    );
  }

  function drawClashes() {
    const key = JSON.stringify(conflicts());
    if (clashes.dataset.key === key) return;
    clashes.dataset.key = key;
    if (!conflicts().length) return clashes.replaceChildren();
    const one = (cell) =>
      h(
        "li",
        null,
        h(
          "fieldset",
          { class: "group" },
          h("legend", null, label(cell.address)),
          side(cell, "Keep mine", cell.text),
          side(cell, "Take theirs", cell.theirs),
        ),
      );
    clashes.replaceChildren(
      h(
        "section",
        { "aria-labelledby": "clash-title" },
        h("h2", { id: "clash-title" }, "Changed on both sides"),
        h("p", null, "Both texts are kept until you choose."),
        h("ul", { class: "plain-list" }, conflicts().map(one)),
      ),
    );
    return undefined;
  }

  const side = (cell, words, text) =>
    button(`${words}: ${shown(cell.address, text)}`, () => choose(cell.visit, cell.address, text), {
      kind: "block",
    });
  const shown = (address, text) =>
    text === "" ? BLANK : TIMES.test(address) && INSTANT.test(text) ? clock(Date.parse(text), zone) : text;

  async function drawClock() {
    const ahead = await setting("clock-ahead", 0);
    const words = clockWords(ahead);
    if (wrong.dataset.key === words) return;
    wrong.dataset.key = words;
    const repair = button("Put the times of this visit right", () => shiftTimes(ahead), { kind: "block" });
    wrong.replaceChildren(
      ...(words && open()
        ? [
            h(
              "div",
              { class: "message message--warning" },
              icon("warning"),
              h(
                "div",
                null,
                h(
                  "p",
                  null,
                  `${words} If it was so in the night, the times written down are wrong by as much.`,
                ),
                model.visit.shifted ? h("p", null, "The times were put right already.") : repair,
              ),
            ),
          ]
        : []),
    );
  }

  async function shiftTimes(ahead) {
    const times = [...model.cells].filter(
      ([address, text]) => TIMES.test(address) && !Number.isNaN(Date.parse(text)),
    );
    const right = Object.fromEntries(
      times.map(([address, text]) => [address, iso(Date.parse(text) - ahead)]),
    );
    const first = Math.min(...Object.values(right).map((text) => Date.parse(text)));
    const night = times.length ? nightOf(first, zone) : visit.night;
    await note((one) => Object.assign(one, { shifted: ahead, night }));
    await write({ ...right, night });
    wrong.dataset.key = "";
    app.snack(`${times.length} times were put right`);
    update();
  }

  function drawTrouble() {
    const { trouble } = model.visit;
    const key = `${trouble?.kind}`;
    if (again.dataset.key === key) return;
    again.dataset.key = key;
    const buttons = {
      gone: () => [button("Send it again as it is here", () => app.sync.retry(visit.id, { anew: true }))],
      closed: () => [button("Try again", () => app.sync.retry(visit.id))],
      "not-taken": () => [button("Try again", () => app.sync.retry(visit.id))],
    };
    again.replaceChildren(...(buttons[trouble?.kind]?.() ?? []));
  }

  function update() {
    const { trouble, wants_submit: wants } = model.visit;
    const standing = { visit: model.visit, waits: unsent().length, clashes: conflicts().length };
    const status = app.sync?.status ?? { kind: "idle" };
    setSentences(state, [
      `This visit is ${stateWords(model.visit)}.`,
      trouble?.words ?? keptWords(standing, zone),
      syncWords(status, [standing]),
      protocolWords(model.visit),
    ]);
    editing.hidden = !open();
    submit.hidden = !open() || wants || standing.clashes > 0;
    undoSubmit.hidden = !(open() && wants);
    dock.hidden = submit.hidden && undoSubmit.hidden;
    send.hidden = !(standing.waits || wants || app.sounds?.hereOnly(visit.id));
    signIn.show(app.sounds?.signedOut() ? "signed-out" : status.kind);
    away.hidden = model.visit.state !== "draft" || wants;
    end.update();
    sound.update();
    draw();
    drawClashes();
    drawTrouble();
    drawClock();
  }
  const dock = h("div", { class: "dock" }, submit, undoSubmit);
  return { title: "Summary", node, dock, update };
}

const capital = (words) => words.charAt(0).toUpperCase() + words.slice(1);
const label = (address) => {
  const [part, number, ...rest] = address.split(".");
  if (part !== "stops") return capital(address.replaceAll(/[._]/g, " "));
  return `Stop ${number}: ${rest.join(" ").replaceAll(/[_-]/g, " ")}`;
};
