// Bars that rise with the loudness.
import { setAttribute, svg } from "../../dom.js";

const BARS = 24;

/** A node, and `set(level)` with a level of 0 to 1. */
export function meter() {
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
