// What to know on a first night, and what to do in an emergency.
import { gettext } from "../language.js";
import { h } from "../dom.js";

const FIRST_NIGHT = () => [
  gettext("Tap “Survey the night of …” on your saved route."),
  gettext("At each stop, tap the big button: arrive, wait quietly, listen."),
  gettext("Tap each species you hear. If you hear nothing, tap nothing."),
  gettext("At the end, tap “Finish route” and submit. No signal? It is sent later."),
];
const EMERGENCY = (number) => [
  gettext("Get away from traffic and water."),
  number
    ? gettext("Call {number}. No signal? Go to where there is some, or try a text.", { number })
    : gettext("Call your local emergency number. No signal? Go to where there is some, or try a text."),
  gettext("Say where you are, as below. Say who is hurt and how."),
  gettext("Then call the person who has your route."),
];

const steps = (texts) =>
  h(
    "ol",
    null,
    texts.map((text) => h("li", null, text)),
  );

export function firstNight() {
  return h(
    "section",
    { class: "panel", "aria-labelledby": "first-title" },
    h("h2", { id: "first-title" }, gettext("Your first night")),
    steps(FIRST_NIGHT()),
    h("p", null, h("a", { href: "/guide/how-to-survey/" }, gettext("How to survey"))),
  );
}

/** Closed until it is needed; works without signal. Its texts are large: a shaking hand holds them. */
export function emergency({ program, route }, stop) {
  const { emergency_number: number, emergency_contact: contact } = program;
  const { latitude, longitude } = stop?.place ?? {};
  return h(
    "details",
    { class: "panel sos" },
    h("summary", null, gettext("Emergency")),
    number &&
      h(
        "a",
        { class: "btn btn--large btn--block", href: `tel:${number.replace(/[^+\d]/g, "")}` },
        gettext("Call {number}", { number }),
      ),
    steps(EMERGENCY(number)),
    stop && h("p", { class: "sos__where" }, stop.road || gettext("Road: ask on the way in, and note it")),
    h("p", { class: "sos__where" }, stop?.county || route.region),
    stop && h("p", { class: "big-number" }, latitude.toFixed(5), h("br"), longitude.toFixed(5)),
    h("p", null, [stop && gettext("Stop {number}: {name}", stop), route.name].filter(Boolean).join(", ")),
    contact && h("p", null, gettext("Program contact: {contact}", { contact })),
  );
}
