// What is asked before a visit is submitted or thrown away.
import { gettext, ngettext } from "../../language.js";
import { button, question, h } from "../../dom.js";
import { allFindings } from "../../findings.js";
import { model, note, stopText } from "../../model.js";
import { forgetVisit } from "../../soundstore.js";

const GONE = [
  gettext("Everything written down for this night goes, here and on the server."),
  gettext("For two weeks this phone can bring it back; recordings cannot be brought back."),
].join(" ");
const NEEDS_SIGNAL = gettext(
  "No network: a draft that reached the server can only be thrown away with signal.",
);

export function askToSubmit(app) {
  const { stops } = model;
  const findings = allFindings();
  const isRefused = findings.some(({ severity }) => severity === "refuse");
  const left = stops.filter(
    ({ number }) => !stopText(number)("status") && !stopText(number)("started_at"),
  ).length;
  const remarks = findings.length
    ? ngettext(
        "The protocol has {number} remark; the coordinator sees it too.",
        "The protocol has {number} remarks; the coordinator sees them too.",
        findings.length,
      )
    : gettext("The protocol has no remarks.");
  const submit = async () => {
    box.close();
    await note((visit) => Object.assign(visit, { wants_submit: true, trouble: null }));
    app.sync?.syncAll();
  };
  const box = question(
    gettext("Submit the visit?"),
    h(
      "p",
      null,
      gettext("{left} of {stops} stops are written down. {remarks}", {
        left: stops.length - left,
        stops: stops.length,
        remarks,
      }),
    ),
    left ? h("p", null, gettext("A stop that is left blank counts as not surveyed, not as silent.")) : null,
    isRefused ? h("p", null, gettext("Something impossible must be mended first; see the remarks.")) : null,
    button(gettext("Yes, submit"), submit, { kind: "primary large block" }),
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
  const box = question(
    gettext("Throw this draft away?"),
    h("p", null, GONE),
    button(gettext("Throw it away"), throwAway, { kind: "danger block" }),
  );
}
