// One question after the other: asked, answered, told.
import { button, h } from "../../dom.js";
import { gettext } from "../../language.js";
import * as answers from "../../practice/answers.js";
import { drawPractice } from "../../practice/questions.js";
import { temperature } from "../../rules/words.js";
import { answerForm } from "./asking.js";
import { feedback } from "./feedback.js";
import { sound } from "./sound.js";

/** `candidates()` gives a scope and those to draw from; `changed(number, scope)` hears that a question was drawn
    from so many, or answered. */
export function rounds(packet, candidates, changed) {
  const node = h("section", { "aria-label": gettext("Question") });
  const names = new Map(packet.species.map(({ code, common_name }) => [code, common_name]));
  const calls = Object.fromEntries(Object.entries(packet.calls).map(([code, { call }]) => [code, call]));
  let player = null;
  let drawnFrom = null;

  function show(question, before, after) {
    player?.stop();
    player = sound(packet, question);
    node.replaceChildren(...before, aboutSound(packet, question), player.node, ...after);
  }

  async function ask() {
    drawnFrom = await candidates();
    const [seed] = crypto.getRandomValues(new Uint32Array(1));
    const question = drawPractice(drawnFrom.asked, await answers.talliesOf(packet), calls, seed);
    show(question, [], [answerForm(question, names, (named) => tell(question, named), another)]);
    await changed(drawnFrom.asked.length, drawnFrom.scope);
  }

  async function another() {
    await ask();
    player.focus();
  }

  async function tell(question, named) {
    await answers.keep(packet, question, named);
    const told = feedback(packet, names, question, named);
    const heading = h("h2", { tabindex: "-1" }, told.sentence);
    const next = button(gettext("Next question"), another, { kind: "primary" });
    show(question, [heading], [told.node, h("div", { class: "actions" }, next)]);
    heading.focus();
    await changed(drawnFrom.asked.length, drawnFrom.scope);
  }
  return { node, ask, stop: () => player?.stop() };
}

const aboutSound = ({ route }, { celsius, recording }) =>
  h(
    "p",
    null,
    h("span", { class: "tag tag--long" }, recording ? gettext("recorded") : gettext("made by computer")),
    " ",
    recording ? null : airWords(celsius, route.temperature_unit),
  );

const airWords = (celsius, unit) =>
  gettext("Air temperature: {temperature}", {
    temperature: temperature({ value: String(celsius), unit: "C" }, unit),
  });
