// "Back by": the observer sets a time and a contact, and taps "We are back".
import { gettext } from "../language.js";
import * as checkin from "../checkin.js";
import { now, nightOf } from "../clock.js";
import { instantsOf } from "../clocktimes.js";
import { button, h, setSentences, setText } from "../dom.js";
import { model } from "../model.js";
import { clock } from "../rules/words.js";

export const { start } = checkin;

/** Put the open return times of the people who use this phone into `box`. */
export function show(box) {
  const list = checkin.open();
  const key = list.map((one) => `${one.version} ${one.sent} ${one.told} ${checkin.isLate(one)}`).join();
  if (box.dataset.key === key) return;
  box.dataset.key = key;
  box.replaceChildren(...list.map((one) => panel(one, list.length > 1 && one.person_name)));
}

const panel = (open, whose) =>
  h(
    "section",
    { class: "panel panel--now return-time", "aria-label": gettext("Return time") },
    whose && h("p", null, whose),
    h("div", { role: "status" }, ...sentences(open).map((words) => h("p", null, words))),
    !open.back_at &&
      button(gettext("We are back"), () => checkin.back(open), {
        kind: "primary large block",
        name: "success",
      }),
  );

function sentences(open) {
  const values = { time: clock(Date.parse(open.back_by), open.zone), name: open.contact_name };
  if (open.back_at) return [gettext("You are back. The site will know once there is signal.")];
  return [
    h("strong", null, gettext("Back by {time}. Contact: {name}.", values)),
    checkin.isLate(open) && gettext("That time is past. Tap “We are back”, or your contact gets an email."),
    open.trouble ||
      (open.sent
        ? gettext("The site knows. If you have no signal later, your contact still gets an email.")
        : gettext("Not sent yet: there was no signal. Until it is sent, no one is told.")),
  ].filter(Boolean);
}

/** Where an evening's return time is set; what is set already stands above it. */
export function returnTime(app) {
  const { packet, route } = model;
  const box = h("div");
  const contacts = packet.contacts ?? [];
  const summary = h("summary", null, "");
  const node = h(
    "div",
    null,
    box,
    h(
      "details",
      { class: "panel" },
      summary,
      cannot(packet.program),
      contacts.length ? form(app, { packet, route, contacts }) : noContact(app),
    ),
  );
  function update() {
    show(box);
    const open = checkin.openOf(packet.person.id);
    setText(
      summary,
      open && !open.back_at ? gettext("Change the return time") : gettext("Set a return time"),
    );
  }
  return { node, update };
}

const cannot = ({ emergency_number: number }) =>
  h(
    "div",
    null,
    h(
      "p",
      null,
      h(
        "strong",
        null,
        number
          ? gettext("In an emergency, call {number} first.", { number })
          : gettext("In an emergency, call your local emergency number first."),
      ),
    ),
    h(
      "p",
      null,
      gettext("If you are not back in time, the site emails your contact. It cannot call for help."),
      " ",
      gettext("Without signal it knows nothing, and no one is told. It is not a rescue service."),
      " ",
      gettext("So tell someone at home, too."),
    ),
  );

const noContact = (app) =>
  h(
    "p",
    null,
    gettext("You have no contact yet. Add one while you have signal, then save this route again."),
    " ",
    h("a", { href: app.config.contacts }, gettext("Add a contact")),
  );

function form(app, { packet, route, contacts }) {
  const time = h("input", { type: "time", id: "back-by", required: true });
  const who = h(
    "select",
    { id: "back-contact" },
    contacts.map(([id, name]) => h("option", { value: id }, name)),
  );
  const car = h("input", { type: "text", id: "back-car", maxlength: 120, autocomplete: "off" });
  const open = checkin.openOf(packet.person.id);
  car.value = open?.car ?? "";
  if (open?.contact) who.value = open.contact;
  const fault = h("div", { class: "field__error", role: "alert" });

  async function set() {
    const instant = instantsOf(time.value, nightOf(now(), route.time_zone), route.time_zone).at(-1);
    const isAhead = instant !== undefined && instant > now();
    setSentences(fault, [isAhead ? "" : gettext("Set a time later than now, before noon.")]);
    if (!isAhead) return time.focus();
    await checkin.set({
      person: packet.person.id,
      person_name: packet.person.name,
      route: route.code,
      zone: route.time_zone,
      back_by: new Date(instant).toISOString(),
      contact: Number(who.value),
      contact_name: who.selectedOptions[0].textContent,
      car: car.value.trim(),
    });
    node.closest("details").open = false;
    return app.snack(gettext("Return time set. Tap “We are back” when you are."));
  }

  const field = (label, input) => h("div", { class: "field" }, h("label", { for: input.id }, label), input);
  const node = h(
    "div",
    null,
    field(gettext("Back by"), time),
    fault,
    field(gettext("Contact"), who),
    field(gettext("Car and plate, if your contact should know"), car),
    button(gettext("Set the return time"), set, { kind: "block" }),
  );
  return node;
}
