// What the rules say of the open visit, and how it is shown.
import { gettext } from "./language.js";
import { iso } from "./clock.js";
import { button, h, icon } from "./dom.js";
import { leadFrom } from "./leading.js";
import { model, ownFields } from "./model.js";
import { CODES, judge } from "./rules/judge.js";
import { READING } from "./rules/table.js";
import { readerOf, told } from "./rules/telling.js";
import { cellOf } from "./sheet/cells.js";
import { readSheet } from "./sheet/reader.js";
import { judgedStops } from "./visitstops.js";

const TAGS = { refuse: gettext("Must fix"), query: gettext("Question"), note: gettext("Note") };

// Rules that look at other visits and at the people of the program; they come with the packet.
const SURROUNDED = [
  "same-night-twice",
  "too-soon-after-last-visit",
  "window-visited-before",
  "observer-not-qualified",
  "observer-without-test",
  "training-unknown",
];

// Cells that the server reads by itself.
const UNREAD = ["night", "second_member"];

/** Whether the phone knows better than the server's last answer. Packets of an earlier release hold nothing. */
function knowsSurroundings() {
  const { packet, visit } = model;
  return Boolean(packet.surveyed) && !(visit.synced_at > packet.taken_at);
}

function surroundings() {
  const { packet, visit, tonight } = model;
  const others = (packet.surveyed ?? []).filter(
    ({ id, season_year }) => id !== visit.id && season_year === tonight?.season_year,
  );
  return {
    now: iso(),
    other_nights: others.map(({ night }) => night),
    observer_qualified: tonight?.qualified ?? null,
  };
}

/** The case that the rules judge, what the server derived for it, and what cannot be read. */
function readModel(cells) {
  const { visit, route, version, tonight, packet } = model;
  const listed = new Set(tonight?.species ?? packet.species.map(({ code }) => code));
  const checklist = packet.species.filter(({ code }) => listed.has(code));
  const asked = { ...route, stops: judgedStops(packet, visit, cells), own_fields: ownFields() };
  const own = packet.own_fields ?? [];
  const about = { visit, route: asked, protocol: version.protocol, tonight, checklist, own };
  return readSheet(cells, about);
}

/** How many stops the visit has, by the stops that review counts: one that was closed meanwhile is among
    them only if it has entries. */
export function countStops() {
  const [{ visit, route }] = readModel(model.cells);
  const numbers = new Set(route.stops.map(({ number }) => number));
  const periods = visit.periods.filter(({ stop }) => numbers.has(stop));
  const skipped = periods.filter(({ status }) => status === "skipped").length;
  return {
    stops: numbers.size,
    surveyed: periods.length - skipped,
    skipped,
    blank: numbers.size - periods.length,
  };
}

/** Findings of the phone on the cells as they stand, or as they would with the texts `assumed`. */
export function judgeModel(assumed = {}) {
  const cells = new Map([...model.cells, ...Object.entries(assumed)]);
  const [record, derived, problems] = readModel(cells);
  record.names = model.packet.others ?? [];
  const reader = readerOf(record);
  // A cell that cannot be read is not also reported as empty.
  const unread = problems.filter(({ severity }) => severity === "refuse").map(cellOf);
  const findings = judge({ ...record, surroundings: surroundings() }, derived).filter(
    (finding) => !cellOf(finding) || !unread.includes(cellOf(finding)),
  );
  return [
    ...problems.map((problem) => told(problem, reader)),
    ...(knowsSurroundings() ? findings : findings.filter(({ code }) => !SURROUNDED.includes(code))),
  ];
}

/** Whether the phone reads the cell of such a finding; of others it has no screen. */
const isRead = ({ code, field }) =>
  code in READING && !UNREAD.includes(field) && !field?.startsWith("sightings.");

/** The phone's findings, and those of the server that the phone cannot make itself. */
export function allFindings() {
  const judged = knowsSurroundings() ? CODES : CODES.filter((code) => !SURROUNDED.includes(code));
  const onlyOnServer = model.visit.findings.filter(
    (finding) => !judged.includes(finding.code) && !isRead(finding),
  );
  return [...judgeModel(), ...onlyOnServer];
}

const correctWords = ({ stop }) =>
  stop == null ? gettext("Correct this") : gettext("Correct at stop {stop}", { stop });

/** With `lead`, a button leads to what is to be corrected. */
function findingNode(finding, lead) {
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
    lead && button(correctWords(finding), lead),
  );
}

/** Show findings in a list, and leave it alone while they stay the same. */
export function showFindings(app, list, findings) {
  const key = JSON.stringify(
    findings.map(({ code, stop, species, message }) => [code, stop, species, message]),
  );
  if (list.dataset.key === key) return false;
  list.dataset.key = key;
  list.replaceChildren(
    ...findings.map((finding) => h("li", null, findingNode(finding, leadFrom(app, finding)))),
  );
  return true;
}
