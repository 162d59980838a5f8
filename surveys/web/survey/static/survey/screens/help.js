// What to know on a first night, and what to do in an emergency.
import { gettext } from "../language.js";
import { h } from "../dom.js";

const FIRST_NIGHT = () => [
  gettext("Tap “Survey the night of …” on your saved route."),
  gettext("At each stop, tap the big button: arrive, wait quietly, listen."),
  gettext("Tap each species you hear. If you hear nothing, tap nothing."),
  gettext("At the end, tap “Finish route” and submit. No signal? It is sent later."),
];
const EMERGENCY = () => [
  gettext("Get away from traffic and water."),
  gettext("Call 911 or your local emergency number. No signal? Go to where there is some, or try a text."),
  gettext("Say where you are: road, nearest crossing, county, coordinates. Say who is hurt and how."),
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

/** Closed until it is needed; works without signal. `stop` may be missing. */
export function emergency({ name, region }, stop) {
  const { latitude, longitude } = stop?.place ?? {};
  return h(
    "details",
    { class: "panel" },
    h("summary", null, gettext("Emergency")),
    steps(EMERGENCY()),
    h("p", null, [name, region].filter(Boolean).join(", ")),
    stop && h("p", null, gettext("Stop {number}: {name}", { number: stop.number, name: stop.name })),
    stop && h("p", { class: "big-number" }, `${latitude.toFixed(5)}, ${longitude.toFixed(5)}`),
  );
}
