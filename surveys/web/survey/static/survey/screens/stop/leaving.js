// Going to another stop while this one is listened to, and tapping there what is heard here.
import { gettext } from "../../language.js";
import { iso } from "../../clock.js";
import { button, h, icon, question, setText } from "../../dom.js";
import { model, writeStop } from "../../model.js";
import { countdown } from "../../timing.js";
import { stopAtWork } from "../../work.js";

/** To another stop; in the middle of listening it is asked for first. */
export function leaveFor(here, other) {
  const { phase, left } = here.standing();
  if (!["listening", "paused"].includes(phase)) return here.goTo(other);
  const { number } = here.stop;
  const closing = (action) => () => {
    box.close();
    return action?.();
  };
  const look = () => here.goTo(other);
  const end = () => writeStop(number, { finished_at: iso() }).then(look);
  const box = question(
    gettext("Still listening at stop {number}", { number }),
    h(
      "p",
      null,
      gettext("{time} left. What you tap at another stop is saved there.", { time: countdown(left) }),
    ),
    button(gettext("Stay here"), closing(), { kind: "primary large block" }),
    button(gettext("Look at stop {number}, keep listening", other), closing(look), { kind: "block" }),
    button(gettext("Stop listening early and continue"), closing(end), { kind: "block" }),
  );
  return undefined;
}

/** Shown at a stop while the observer waits or listens at another one. */
export function elsewhere(app, { stop }) {
  const words = h("p");
  const back = button("", () => app.go("stop", model.visit.id, app.work.stop().number), { kind: "block" });
  const label = back.querySelector("span");
  const node = h(
    "div",
    { class: "message message--warning", hidden: true },
    icon("warning"),
    h("div", null, words, back),
  );

  function tick() {
    const there = stopAtWork();
    const number = there?.stop.number;
    node.hidden = !app.work || !there || number === stop.number || there.standing.phase === "ready";
    if (node.hidden) return;
    const places = { there: number, here: stop.number };
    setText(
      words,
      there.standing.phase === "waiting"
        ? gettext("You are waiting at stop {there}. What you tap here is saved at stop {here}.", places)
        : gettext("You are listening at stop {there}. What you tap here is saved at stop {here}.", places),
    );
    setText(label, gettext("Back to stop {there}", places));
  }
  return { node, tick };
}
