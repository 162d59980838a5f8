// Practice with calls, with or without signal: a question, an answer, and what there was to hear.
import { gettext, ngettext } from "../language.js";
import { nightOf, now } from "../clock.js";
import { h, setText } from "../dom.js";
import { candidatesOf, newestPacket } from "../practice/candidates.js";
import { whyQuiet } from "../quiet.js";
import { HEARING } from "./calls/hearing.js";
import { rounds } from "./practice/rounds.js";
import { unsentBox } from "./practice/unsent.js";

const NO_PACKET = gettext("Save a route on this phone while you have signal. Its species then come along.");
const NO_CALL = gettext("No species of the checklist has a call to play.");
const LEDE = gettext(
  "Listen, then answer. Only you see your answers. What you mix up comes again more often.",
);
const WHY = {
  nearest: gettext("Few call now, so those with the nearest season are added."),
  "none-calls": gettext("No species on the checklist is calling now, so all of them are asked about."),
};
const QUIET_MS = 500;

export async function screen(app) {
  const packet = await newestPacket(app.config.slug);
  if (!packet?.practice.candidates.length) return nothing(packet ? NO_CALL : NO_PACKET);
  const quiet = h("p", { role: "status" });
  const all = h("input", { type: "checkbox", id: "practice-all", onchange: () => practice.ask() });
  const about = h("p", { class: "small muted" });
  const unsent = unsentBox(packet);
  const tonight = () => nightOf(now(), packet.route.time_zone);
  const practice = rounds(
    packet,
    () => candidatesOf(packet, tonight(), all.checked),
    (number, scope) => {
      const drawn = ngettext("Drawn from {number} species.", "Drawn from {number} species.", number);
      setText(about, [drawn, WHY[scope]].filter(Boolean).join(" "));
      return unsent.update();
    },
  );
  const allWords = gettext("All of the checklist, not only what calls now");
  const node = h(
    "div",
    null,
    h("p", null, LEDE),
    quiet,
    practice.node,
    h("label", { class: "choice", for: all.id }, all, allWords),
    about,
    unsent.node,
    h("p", { class: "small" }, HEARING),
  );
  const tick = watchQuiet(quiet, practice);
  await practice.ask();
  await tick();
  return { title: gettext("Practice"), node, tick, leave: practice.stop };
}

const nothing = (words) => ({
  title: gettext("Practice"),
  node: h("div", { class: "empty" }, h("p", null, words)),
});

/** While somebody waits or listens there is no question. What plays is cut off by the player. */
function watchQuiet(quiet, practice) {
  let looked = -QUIET_MS;
  return async () => {
    if (performance.now() < looked + QUIET_MS) return;
    looked = performance.now();
    const why = await whyQuiet();
    setText(quiet, why);
    practice.node.hidden = Boolean(why);
  };
}
