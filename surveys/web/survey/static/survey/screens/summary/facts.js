// What is written down, stop by stop, in words.
import { gettext } from "../../language.js";
import { h } from "../../dom.js";
import { model, stopText, stopTime } from "../../model.js";
import { clock } from "../../rules/words.js";
import { heardAt } from "../calls/species.js";

export function stopFacts({ number, name }) {
  const typed = stopText(number);
  const [from, to] = ["started_at", "finished_at"].map((name) => {
    const instant = stopTime(number)(name);
    return instant === null ? typed(name) : clock(instant, model.route.time_zone);
  });
  const isSkipped = typed("status") === "skipped";
  const isListened = from || typed("status") === "listened";
  const words = isSkipped
    ? gettext("skipped: {reason}", { reason: typed("skip_reason") || gettext("no reason") })
    : heardAt(number).join(", ") || (isListened ? gettext("nothing heard") : gettext("not reached"));
  const hours = isSkipped || !from ? "" : gettext("{first} to {last}", { first: from, last: to || "…" });
  return h("div", null, h("dt", null, `${number}. ${name}`), h("dd", null, words, h("small", null, hours)));
}

/** An instant as a clock time at the route, any other text as it is. */
export function clockText(text) {
  const instant = Date.parse(text);
  return Number.isNaN(instant) ? text : clock(instant, model.route.time_zone);
}
