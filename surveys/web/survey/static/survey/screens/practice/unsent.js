// Answers that wait for signal, and those that the site refused.
import { button, h } from "../../dom.js";
import { gettext, ngettext } from "../../language.js";
import * as answers from "../../practice/answers.js";

export function unsentBox({ slug, person }) {
  const node = h("div", { role: "status" });

  async function update() {
    const { waiting, refused } = await answers.unsentOf(slug, person.id);
    const trouble = ({ trouble }) =>
      h("p", null, gettext("The site refused an answer: {trouble}", { trouble }));
    node.replaceChildren(
      ...(waiting.length ? [h("p", null, waitingWords(waiting.length))] : []),
      ...refused.map(trouble),
      ...(refused.length ? [button(gettext("Delete what was refused"), drop, { kind: "small" })] : []),
    );
  }

  async function drop() {
    await answers.dropRefused(slug, person.id);
    await update();
  }
  answers.onStatus(() => node.isConnected && update());
  return { node, update };
}

const waitingWords = (number) =>
  ngettext(
    "{number} answer waits for signal. It is safe on this phone.",
    "{number} answers wait for signal. They are safe on this phone.",
    number,
  );
