// The buttons at the lower edge of a stop, where the thumb is: they move the evening along.
import { gettext } from "../../language.js";
import { now } from "../../clock.js";
import { button, h, setAttribute, setSentences, setText } from "../../dom.js";
import { model } from "../../model.js";
import { leaveFor } from "./leaving.js";
import * as phases from "./phases.js";

const NOTICED_MS = 1_500;
const LOUD = {
  pause: gettext("Loud event: pause"),
  restart: gettext("Loud event: start over"),
  extend: gettext("Noise: listen longer"),
};

/** The phone has just noticed the arrival: a thumb on its way to "I am at the stop" must not start to listen. */
function justNoticed({ stop, standing, times }) {
  const isToListen = ["waiting", "ready"].includes(standing().phase);
  return isToListen && model.visit.noticed?.includes(stop.number) && now() - times().arrived < NOTICED_MS;
}

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
    if (detail < 2 && !justNoticed(here)) actions.mainAction[here.standing().phase]();
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
