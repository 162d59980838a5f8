// The ring that runs down during the settling wait and the listening.
import { h, setAttribute, setText, svg } from "../dom.js";
import { countdown } from "../timing.js";

const ROUND = { cx: 60, cy: 60, r: 52, fill: "none", pathLength: 100 };

export function ring() {
  const run = svg("circle", {
    ...ROUND,
    class: "ring__run",
    "stroke-dasharray": 100,
    "stroke-dashoffset": 0,
    transform: "rotate(-90 60 60)",
  });
  const picture = svg(
    "svg",
    { viewBox: "0 0 120 120", class: "ring__picture", "aria-hidden": "true" },
    svg("circle", { ...ROUND, class: "ring__track" }),
    run,
  );
  const time = h("span", { class: "ring__time" });
  const word = h("span", { class: "ring__word" });
  const node = h(
    "div",
    { class: "ring", role: "timer", "aria-live": "off" },
    picture,
    h("div", { class: "ring__text" }, time, word),
  );

  /** `share` of the ring that is left, 0 to 1. */
  function set({ left, total, words, phase }) {
    const share = total ? left / total : 0;
    setAttribute(node, "data-phase", phase);
    setAttribute(run, "stroke-dashoffset", (100 * (1 - share)).toFixed(1));
    setText(time, countdown(left));
    setText(word, words);
  }
  return { node, set };
}
