// Protocol check of one stop, or of the weather at the start.
import { gettext } from "../../language.js";
import { h } from "../../dom.js";
import { cellOf } from "../../sheet/cells.js";

// Told only once a stop is done: until then they are merely not written down yet.
const NOT_YET = /-missing$|^status-unclear$/;

/** Without a `number`, of the start. */
export function remarks(app, number = null) {
  const list = h("ul", { class: "findings" });
  const node = h(
    "section",
    { "aria-labelledby": "rules-title" },
    h("h2", { id: "rules-title" }, gettext("Protocol check")),
    list,
  );
  let loading = null;

  async function update(phase) {
    loading ??= app.judge && import("../../findings.js");
    if (!loading) return;
    const { judgeModel, showFindings } = await loading;
    const findings = judgeModel().filter(
      (finding) =>
        finding.stop === number &&
        (number || cellOf(finding).startsWith("start.") || finding.field?.startsWith("start.")) &&
        (phase() === "done" || !NOT_YET.test(finding.code)),
    );
    if (showFindings(app, list, findings) && findings.length) app.say(findings.at(-1).message);
    node.hidden = !findings.length;
  }
  return { node, update };
}
