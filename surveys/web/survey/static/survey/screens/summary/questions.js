// What is asked before a visit is submitted or thrown away.
import { button, dialog, h } from "../../dom.js";
import { allFindings } from "../../findings.js";
import { model, note, stopText } from "../../model.js";
import { forgetVisit } from "../../soundstore.js";

const GONE = [
  "Everything written down for this night goes, here and on the server.",
  "For two weeks this phone can bring it back; recordings cannot be brought back.",
].join(" ");
const NEEDS_SIGNAL = "No network: a draft that reached the server can only be thrown away with signal.";

export function askToSubmit(app) {
  const { stops } = model;
  const findings = allFindings();
  const isRefused = findings.some(({ severity }) => severity === "refuse");
  const left = stops.filter(
    ({ number }) => !stopText(number)("status") && !stopText(number)("started_at"),
  ).length;
  const remarks = findings.length
    ? `The protocol has ${findings.length} remarks; the coordinator sees them too.`
    : "The protocol has no remarks.";
  const submit = async () => {
    box.close();
    await note((visit) => Object.assign(visit, { wants_submit: true, trouble: null }));
    app.sync?.syncAll();
  };
  const box = dialog(
    "Submit the visit?",
    h("p", null, `${stops.length - left} of ${stops.length} stops are written down. ${remarks}`),
    left ? h("p", null, "A stop that is left blank counts as not surveyed, not as silent.") : null,
    isRefused ? h("p", null, "Something impossible must be mended first; see the remarks.") : null,
    button("Yes, submit", submit, { kind: "primary large block" }),
  );
}

export function askToThrowAway(app) {
  const throwAway = async () => {
    box.close();
    const { visit } = model;
    try {
      await app.sync.throwAway(visit);
      await forgetVisit(app.config.slug, visit.id);
    } catch (error) {
      app.trouble(error.message || NEEDS_SIGNAL);
    }
  };
  const box = dialog(
    "Throw this draft away?",
    h("p", null, GONE),
    button("Throw it away", throwAway, { kind: "danger block" }),
  );
}
