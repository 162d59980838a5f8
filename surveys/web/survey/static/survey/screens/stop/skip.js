// Why a stop is skipped.
import { gettext } from "../../language.js";
import { button, question, h } from "../../dom.js";

const REASONS = [
  gettext("Unsafe to stop"),
  gettext("Road closed"),
  gettext("No access tonight"),
  gettext("Too noisy to hear"),
  gettext("Weather"),
  gettext("No time left"),
];

export const undoSkip = ({ set }) => set({ status: "", skip_reason: "" }, gettext("No longer skipped"));

export function askSkipReason({ stop, set }) {
  function skip(reason) {
    box.close();
    set(
      { status: "skipped", skip_reason: reason, started_at: "", finished_at: "", paused_minutes: "" },
      gettext("Stop {number} skipped: {reason}", { number: stop.number, reason }),
    );
  }
  const other = h("input", { type: "text", id: "reason", maxlength: 200, autocomplete: "off" });
  const box = question(
    gettext("Why skip stop {number}?", { number: stop.number }),
    h(
      "ul",
      { class: "plain-list picks" },
      REASONS.map((reason) =>
        h(
          "li",
          null,
          button(reason, () => skip(reason), { kind: "block" }),
        ),
      ),
    ),
    h("div", { class: "field" }, h("label", { for: "reason" }, gettext("Another reason")), other),
    button(gettext("Skip for this reason"), () => other.value.trim() && skip(other.value.trim()), {
      kind: "block",
    }),
  );
}
