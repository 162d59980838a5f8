// Protocol check of this stop.
import { gettext } from "../../language.js";
import { h } from "../../dom.js";

// Told only once a stop is done: until then they are merely not written down yet.
const NOT_YET = /-missing$/;

export function remarks(app, number) {
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
      ({ stop, code }) => stop === number && (phase() === "done" || !NOT_YET.test(code)),
    );
    if (showFindings(list, findings) && findings.length) app.say(findings.at(-1).message);
    node.hidden = !findings.length;
  }
  return { node, update };
}
