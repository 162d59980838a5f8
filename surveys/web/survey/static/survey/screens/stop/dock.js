// The buttons at the lower edge of a stop, where the thumb is: they move the evening along.
import { gettext } from "../../language.js";
import { button, h, setAttribute, setSentences, setText } from "../../dom.js";
import { leaveFor } from "./leaving.js";
import * as phases from "./phases.js";

const LOUD = {
  pause: gettext("Loud event: pause"),
  restart: gettext("Loud event: start over"),
  extend: gettext("Noise: listen longer"),
};

/** `row` has the readings, `before(phase)` says what to know before one listens. */
export function stopDock(here, actions, row, before) {
  const main = button("", press, { kind: "primary large block", "aria-describedby": "before" });
  const words = main.querySelector("span");
  const loud = button(LOUD[here.protocol.interruption], actions.interrupt, { name: "car" });
  const warning = h("div", { class: "dock__before", id: "before" });
  const [previous, next] = [
    ["previous", gettext("Previous stop")],
    ["next", gettext("Next stop")],
  ].map(([side, label]) => {
    const arrow = button("", () => leaveFor(here, here[side]), { name: side, "aria-label": label });
    arrow.disabled = !here[side];
    return arrow;
  });
  const aside = h("div", { class: "dock__aside" }, loud, row.missing);
  const dock = h(
    "div",
    { class: "dock" },
    row.same,
    aside,
    warning,
    h("div", { class: "dock__main" }, previous, main, next),
  );

  // A cold hand taps twice: the second tap must not press what the first one brought up.
  function press({ detail }) {
    if (detail < 2) actions.mainAction[here.standing().phase]();
  }

  function draw(phase, action) {
    setText(words, action);
    const kind = phases.isQuiet(phase) ? "" : "btn--primary";
    setAttribute(main, "class", `btn btn--large btn--block ${kind}`);
    loud.hidden = !phases.mayInterrupt(phase, here);
    row.draw(phases.mayRead(phase));
    row.same.hidden ||= !phases.hasTime(phase);
    aside.hidden = loud.hidden && row.missing.hidden;
    const sentences = before(phase);
    setSentences(warning, sentences);
    warning.hidden = !sentences.length;
  }
  return { dock, draw };
}
