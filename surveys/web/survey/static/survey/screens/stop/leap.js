// The phone's clock leapt while the observer stood here. A phone that slept and a clock that was set
// look alike; only the observer knows.
import { gettext } from "../../language.js";
import { iso } from "../../clock.js";
import { button, h, icon, setText } from "../../dom.js";
import { note, writeStop } from "../../model.js";
import { duration } from "../../rules/words.js";

const INSTANT = /^\d{4}-\d{2}-\d{2}T/;
const SHORT_S = 120;

export function leapBox(app, here, onSettled) {
  const words = h("p");
  const node = h(
    "div",
    { class: "message message--warning" },
    icon("warning"),
    h(
      "div",
      null,
      words,
      h(
        "div",
        { class: "actions" },
        button(gettext("Phone was asleep: keep the time"), () => settle(false), { kind: "block" }),
        button(gettext("Clock was changed: keep listening"), () => settle(true), { kind: "block" }),
      ),
    ),
  );
  node.hidden = true;

  /** The time passed, or the times here move along. */
  async function settle(wasSet) {
    const ms = here.leapMs();
    const { stop, typed } = here;
    const moved = ["arrived_at", "started_at"].filter((name) => wasSet && INSTANT.test(typed(name)));
    const texts = moved.map((name) => [name, iso(Date.parse(typed(name)) + ms)]);
    if (moved.length) await writeStop(stop.number, Object.fromEntries(texts));
    await note((visit) => {
      visit.leap = null;
      if (wasSet && visit.timer?.stop === stop.number) visit.timer.paused_since += ms;
    });
    onSettled();
  }

  function show(isAsked) {
    if (isAsked === !node.hidden) return;
    node.hidden = !isAsked;
    if (!isAsked) return;
    const seconds = Math.round(here.leapMs() / 1000);
    const length = duration(seconds < SHORT_S ? seconds : 60 * Math.round(seconds / 60));
    const question = gettext(
      "The phone’s clock jumped {value} ahead. Was the phone asleep, or was its clock changed?",
      { value: length },
    );
    setText(words, question);
    app.alarm(question);
  }
  return { node, show };
}
