// Why a stop is skipped.
import { button, dialog, h } from "../../dom.js";

const REASONS = [
  "Unsafe to stop",
  "Road closed",
  "No access tonight",
  "Too noisy to hear",
  "Weather",
  "No time left",
];

export function askSkipReason({ stop, set }) {
  function skip(reason) {
    box.close();
    set(
      { status: "skipped", skip_reason: reason, started_at: "", finished_at: "", paused_minutes: "" },
      `Stop ${stop.number} skipped: ${reason}`,
    );
  }
  const other = h("input", { type: "text", id: "reason", maxlength: 200, autocomplete: "off" });
  const box = dialog(
    `Why is stop ${stop.number} skipped?`,
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
    h("div", { class: "field" }, h("label", { for: "reason" }, "Another reason"), other),
    button("Skip for this reason", () => other.value.trim() && skip(other.value.trim()), { kind: "block" }),
  );
}
