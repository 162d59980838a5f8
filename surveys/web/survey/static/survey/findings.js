// What the rules say of the open visit, and how it is shown.
import { gettext } from "./language.js";
import { h, icon } from "./dom.js";
import { model, ownFields } from "./model.js";
import { readCase } from "./reading.js";
import { CODES, judge } from "./rules/judge.js";

const TAGS = { refuse: gettext("Must fix"), query: gettext("Question"), note: gettext("Note") };

/** Findings of the phone on the cells as they stand. */
export function judgeModel() {
  const { cells, visit, route, stops, version, tonight, packet } = model;
  const listed = new Set(tonight?.species ?? packet.species.map(({ code }) => code));
  const checklist = packet.species.filter(({ code }) => listed.has(code));
  const known = stops.filter(({ place }) => place);
  const asked = { ...route, stops: known, own_fields: ownFields() };
  const about = { visit, route: asked, protocol: version.protocol, tonight, checklist };
  return judge(...readCase(cells, about));
}

/** The phone's findings, and those of the server that the phone cannot make itself. */
export function allFindings() {
  const onlyOnServer = model.visit.findings.filter(({ code }) => !CODES.includes(code));
  return [...judgeModel(), ...onlyOnServer];
}

export function findingNode(finding) {
  const where = finding.stop == null ? gettext("Visit") : gettext("Stop {stop}", { stop: finding.stop });
  return h(
    "article",
    { class: `finding finding--${finding.severity}` },
    h(
      "div",
      { class: "finding__head" },
      h("span", { class: `tag tag--${finding.severity}` }, icon(finding.severity), TAGS[finding.severity]),
      h("span", { class: "finding__where" }, where),
    ),
    h("p", null, finding.message),
    finding.remedy && h("p", { class: "finding__mend" }, finding.remedy),
  );
}

/** Show findings in a list, and leave it alone while they stay the same. */
export function showFindings(list, findings) {
  const key = JSON.stringify(
    findings.map(({ code, stop, species, message }) => [code, stop, species, message]),
  );
  if (list.dataset.key === key) return false;
  list.dataset.key = key;
  list.replaceChildren(...findings.map((finding) => h("li", null, findingNode(finding))));
  return true;
}
