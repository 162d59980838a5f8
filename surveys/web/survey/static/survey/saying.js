// One sentence that says what is on the phone only and what has reached the server.
import { getAll, cellsOf, inConflict, isPending } from "./store.js";
import { clock, duration } from "./rules/words.js";

const WRONG_CLOCK_MS = 120_000;
const STATES = {
  draft: "a draft",
  submitted: "submitted",
  sent_back: "sent back",
  accepted: "accepted",
  set_aside: "set aside",
};

export const stateWords = (visit) =>
  visit.wants_submit ? "to be submitted" : (STATES[visit.state] ?? visit.state);

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

const entries = (count) => (count === 1 ? "1 entry" : `${count} entries`);

export function keptWords({ visit, waits, clashes }, zone) {
  if (clashes) return `${entries(clashes)} changed on both sides: choose below.`;
  if (waits) return `${entries(waits)} on this phone only.`;
  if (visit.wants_submit) return "All entries are on the server; submitting waits for the network.";
  if (!visit.synced_at) return "On this phone only.";
  return `All on the server since ${clock(Date.parse(visit.synced_at), zone)}.`;
}

/** What sending is doing, in words; empty when there is nothing to say. */
export function syncWords(status, visits) {
  const other = visits.find(({ visit }) => status.person && visit.person.id !== status.person.id)?.visit
    .person.name;
  return {
    idle: "",
    sending: "Sending …",
    offline: "No network. Everything is kept on this phone and goes by itself once there is signal.",
    busy: "The server does not answer. Everything is kept on this phone; it is tried again.",
    later: "The server asks this phone to wait a while. Everything is kept on this phone and goes by itself.",
    "signed-out": "You are signed out. Nothing is lost: sign in, and the phone goes on sending.",
    "not-allowed": "Your account may not send visits to this program now. Everything is kept on this phone.",
    "other-person": [
      `You are signed in as ${status.person?.name}, but a visit belongs to ${other ?? "somebody else"}.`,
      `It is kept here until ${other ?? "that person"} signs in.`,
    ].join(" "),
  }[status.kind];
}

export function clockWords(ahead) {
  if (Math.abs(ahead) < WRONG_CLOCK_MS) return "";
  const length = duration(60 * Math.round(Math.abs(ahead) / 60_000));
  const side = ahead > 0 ? "ahead of" : "behind";
  return `This phone’s clock was ${length} ${side} the server’s when they last met.`;
}

/** By which protocol the server judges the visit, where that is not plain. */
export function protocolWords({ judged_by: judged, version, in_force: inForce }) {
  if (judged && judged !== version)
    return [
      "The program no longer has the protocol that this phone carried;",
      "the visit is judged by the one of that night.",
    ].join(" ");
  if (judged && inForce && inForce !== judged)
    return [
      "The protocol was changed since this phone took the route along.",
      "The visit is judged by the version that the phone carried.",
    ].join(" ");
  return "";
}
