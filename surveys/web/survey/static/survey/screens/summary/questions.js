// What is asked before a visit is submitted or thrown away.
import { gettext, ngettext } from "../../language.js";
import { button, question, h } from "../../dom.js";
import { allFindings, countStops } from "../../findings.js";
import { model, note } from "../../model.js";
import { forgetVisit } from "../../soundstore.js";

export const AFTER_SUBMIT = gettext(
  "The coordinator will review the visit. If it is sent back with a question, you will get an email.",
);
const GONE = [
  gettext("This deletes all entries for this night, here and on the server."),
  gettext("You can restore it on this phone for two weeks, but not its recordings."),
].join(" ");
const NEEDS_SIGNAL = gettext("No signal: you need signal to delete a draft that is on the server.");

export function askToSubmit(app) {
  const { blank, ...counts } = countStops();
  const findings = allFindings();
  const isRefused = findings.some(({ severity }) => severity === "refuse");
  const remarks = findings.length
    ? ngettext(
        "Protocol check: {number} entry to look at. The coordinator sees it too.",
        "Protocol check: {number} entries to look at. The coordinator sees them too.",
        findings.length,
      )
    : gettext("No protocol questions.");
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
      gettext("Stops surveyed: {surveyed} of {stops}. Skipped: {skipped}. {found}", {
        ...counts,
        found: remarks,
      }),
    ),
    blank ? h("p", null, gettext("A blank stop counts as not surveyed, not as silent.")) : null,
    isRefused ? h("p", null, gettext("Fix the entries marked “Must fix” first.")) : null,
    h("p", { class: "small" }, AFTER_SUBMIT),
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
    gettext("Delete this draft?"),
    h("p", null, GONE),
    button(gettext("Delete draft"), throwAway, { kind: "danger block" }),
  );
}
