// What is written down, stop by stop, in words; each leads to its stop.
import { gettext } from "../../language.js";
import { h } from "../../dom.js";
import { model, stopText, stopTime } from "../../model.js";
import { clock } from "../../rules/words.js";
import { heardAt } from "../calls/species.js";

export function stopFacts(app, { number, name }) {
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
  const open = () => app.go("stop", model.visit.id, number);
  return h(
    "li",
    null,
    h(
      "button",
      { type: "button", class: "btn btn--block pick", onclick: open },
      h("strong", null, `${number}. ${name}`),
      h("span", null, words),
      h("span", { class: "small" }, hours),
    ),
  );
}

/** An instant as a clock time at the route, any other text as it is. */
export function clockText(text) {
  const instant = Date.parse(text);
  return Number.isNaN(instant) ? text : clock(instant, model.route.time_zone);
}
