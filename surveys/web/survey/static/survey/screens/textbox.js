// A box whose every letter is a cell at once.
import { h } from "../dom.js";
import { onChange, text, write } from "../model.js";

export function textBox(address, label, { rows = 4, inputmode = "text" } = {}) {
  const id = `cell-${address}`;
  const tag = rows > 1 ? "textarea" : "input";
  const box = h(tag, {
    id,
    "data-typed": address,
    inputmode,
    ...(rows > 1 ? { rows } : { type: "text", autocomplete: "off" }),
    oninput: () => write({ [address]: box.value }, { undo: false }),
  });
  box.value = text(address);
  return h("div", { class: "field" }, h("label", { for: id }, label), box);
}

// A box follows its cell: what another tab or phone wrote there must not be overwritten unseen.
onChange(() => {
  for (const box of document.querySelectorAll("[data-typed]")) {
    const typed = text(box.dataset.typed);
    if (box.value !== typed && box.value.trim() !== typed) box.value = typed;
  }
});
