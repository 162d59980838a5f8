// Trying again what the server did not take.
import { gettext } from "../../language.js";
import { button, h } from "../../dom.js";
import { model } from "../../model.js";

const BUTTONS = {
  gone: [gettext("Send this copy again"), { anew: true }],
  closed: [gettext("Try again"), {}],
  "not-taken": [gettext("Try again"), {}],
};

export function retryBox(app) {
  const node = h("div", { class: "actions" });

  function update() {
    const { id, trouble } = model.visit;
    const key = `${trouble?.kind}`;
    if (node.dataset.key === key) return;
    node.dataset.key = key;
    const [words, how] = BUTTONS[trouble?.kind] ?? [];
    node.replaceChildren(...(words ? [button(words, () => app.sync.retry(id, how))] : []));
  }
  return { node, update };
}
