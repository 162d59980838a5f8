// One sentence that says what is on the phone only and what has reached the server.
import { gettext, ngettext } from "./language.js";
import { getAll, cellsOf, inConflict, isPending } from "./store.js";
import { clock, duration } from "./rules/words.js";

const WRONG_CLOCK_MS = 120_000;
const STATES = {
  draft: gettext("a draft"),
  submitted: gettext("submitted"),
  sent_back: gettext("sent back"),
  accepted: gettext("accepted"),
  set_aside: gettext("set aside"),
};

export const stateWords = (visit) =>
  visit.wants_submit ? gettext("to be submitted") : (STATES[visit.state] ?? visit.state);

/** Per visit of the program: what is still on the phone only. */
export async function standings(slug) {
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
    return gettext("{entries} changed on both sides: choose below.", { entries: entries(clashes) });
  if (waits) return gettext("{entries} on this phone only.", { entries: entries(waits) });
  if (visit.wants_submit) return gettext("All entries are on the server; submitting waits for the network.");
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
    offline: gettext("No network. Everything is kept on this phone and goes by itself once there is signal."),
    busy: gettext("The server does not answer. Everything is kept on this phone; it is tried again."),
    later: gettext(
      "The server asks this phone to wait a while. Everything is kept on this phone and goes by itself.",
    ),
    "signed-out": gettext("You are signed out. Nothing is lost: sign in, and the phone goes on sending."),
    "not-allowed": gettext(
      "Your account may not send visits to this program now. Everything is kept on this phone.",
    ),
    "other-person": [
      gettext("You are signed in as {name}, but a visit belongs to {other}.", {
        name: status.person?.name,
        other: other ?? gettext("somebody else"),
      }),
      gettext("It is kept here until {other} signs in.", { other: other ?? gettext("that person") }),
    ].join(" "),
  }[status.kind];
}

export function clockWords(ahead) {
  if (Math.abs(ahead) < WRONG_CLOCK_MS) return "";
  const length = duration(60 * Math.round(Math.abs(ahead) / 60_000));
  return ahead > 0
    ? gettext("This phone’s clock was {length} ahead of the server’s when they last met.", { length })
    : gettext("This phone’s clock was {length} behind the server’s when they last met.", { length });
}

/** By which protocol the server judges the visit, where that is not plain. */
export function protocolWords({ judged_by: judged, version, in_force: inForce }) {
  if (judged && judged !== version)
    return [
      gettext("The program no longer has the protocol that this phone carried;"),
      gettext("the visit is judged by the one of that night."),
    ].join(" ");
  if (judged && inForce && inForce !== judged)
    return [
      gettext("The protocol was changed since this phone took the route along."),
      gettext("The visit is judged by the version that the phone carried."),
    ].join(" ");
  return "";
}
