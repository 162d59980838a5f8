// One sentence that says what is on the phone only and what has reached the server.
import { gettext, ngettext } from "./language.js";
import { getAll, cellsOf, inConflict, isPending } from "./store.js";
import { clock, day, duration } from "./rules/words.js";

const WRONG_CLOCK_MS = 120_000;
const STATES = {
  draft: gettext("a draft"),
  submitted: gettext("submitted"),
  sent_back: gettext("sent back"),
  accepted: gettext("accepted"),
  set_aside: gettext("set aside"),
};

/** Whether the observer has the visit back because they withdrew it. */
export const isWithdrawn = ({ state, withdrawn }) => state === "sent_back" && Boolean(withdrawn);

export function stateWords(visit) {
  if (visit.wants_submit) return gettext("waiting to be submitted");
  return isWithdrawn(visit) ? gettext("withdrawn") : (STATES[visit.state] ?? visit.state);
}

/** What the summary says of the state. */
export const standsWords = (visit) =>
  visit.state === "sent_back" && !visit.wants_submit && !isWithdrawn(visit)
    ? gettext("This visit was sent back.")
    : gettext("This visit is {state_words}.", { state_words: stateWords(visit) });

/** Why a visit came back: what to do, and the coordinator’s question. */
export function sentBackWords(visit) {
  if (visit.state !== "sent_back") return [];
  if (isWithdrawn(visit)) return [gettext("You withdrew this visit. Change it, then submit it again.")];
  return [
    gettext("The coordinator sent this visit back. Fix it, then submit it again."),
    visit.sent_back_note,
  ];
}

export const visitTitle = ({ route, night }) =>
  gettext("{code} {name}, night of {day}", { code: route.code, name: route.name, day: day(night) });

/** Per visit of the program: what is still on the phone only. */
export async function statuses(slug) {
  const visits = (await getAll("visits")).filter((visit) => visit.slug === slug);
  return Promise.all(
    visits.map(async (visit) => {
      const cells = await cellsOf(visit.id);
      const waits = cells.filter((cell) => isPending(cell) && !inConflict(cell)).length;
      return {
        visit,
        waits,
        clashes: cells.filter(inConflict).length,
        cells: cells.filter(({ text }) => text).length,
      };
    }),
  );
}

const entries = (count) => ngettext("{number} entry", "{number} entries", count);

export function keptWords({ visit, waits, clashes }, zone) {
  if (clashes)
    return gettext("{entries} changed in two places: choose below.", { entries: entries(clashes) });
  if (waits) return gettext("{entries} on this phone only.", { entries: entries(waits) });
  if (visit.wants_submit)
    return gettext("All entries are on the server. The visit will be submitted when there is signal.");
  if (!visit.synced_at) return gettext("On this phone only.");
  return gettext("All on the server since {clock}.", { clock: clock(Date.parse(visit.synced_at), zone) });
}

/** What sending is doing, in words; empty when there is nothing to say. */
export function syncWords(status, visits) {
  const other = visits.find(({ visit }) => status.person && visit.person.id !== status.person.id)?.visit
    .person.name;
  return {
    idle: "",
    sending: gettext("Sending …"),
    offline: gettext("No signal. Everything is saved on this phone and will be sent automatically."),
    busy: gettext("Cannot reach the server. Everything is saved on this phone; we will keep trying."),
    later: gettext(
      "The server is busy or closed for maintenance. All is saved on this phone and will be sent automatically.",
    ),
    "signed-out": gettext("You are signed out. Nothing is lost. Sign in to send the rest."),
    "not-allowed": gettext(
      "Your account cannot send visits to this program right now. Everything is saved on this phone.",
    ),
    "other-person": [
      gettext("You are signed in as {name}, but a visit belongs to {other}.", {
        name: status.person?.name,
        other: other ?? gettext("someone else"),
      }),
      gettext("It is saved here until {other} signs in.", { other: other ?? gettext("that person") }),
    ].join(" "),
  }[status.kind];
}

export function clockWords(ahead) {
  if (Math.abs(ahead) < WRONG_CLOCK_MS) return "";
  const length = duration(60 * Math.round(Math.abs(ahead) / 60_000));
  return ahead > 0
    ? gettext("This phone’s clock was {length} fast when it last reached the server.", { length })
    : gettext("This phone’s clock was {length} slow when it last reached the server.", { length });
}

/** By which protocol the server judges the visit, where that is not plain. */
export function protocolWords({ judged_by: judged, version, in_force: inForce }) {
  if (judged && judged !== version)
    return [
      gettext("The protocol saved on this phone has been replaced."),
      gettext("Your visit will be checked against the one in effect that night."),
    ].join(" ");
  if (judged && inForce && inForce !== judged)
    return [
      gettext("The protocol has changed since you saved this route."),
      gettext("Your visit will be checked against the version saved on this phone."),
    ].join(" ");
  return "";
}
