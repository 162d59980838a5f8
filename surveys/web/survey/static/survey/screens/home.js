// What is on the phone: routes to survey, visits under way, settings.
import { gettext } from "../language.js";
import { h, icon, setSentences } from "../dom.js";
import { clockWords, statuses, syncWords } from "../status.js";
import { getAll, setting, thrownAway } from "../store.js";
import { routes } from "./home/routes.js";
import { keepingBox } from "./home/keeping.js";
import { countWaiting, summaryWords, thrownAwayBox, visitRow } from "./home/visits.js";
import { sendButton, signInLink } from "./signin.js";

const FIRST_NIGHT = [
  gettext("Tap “Survey the night of …” on your saved route."),
  gettext("At each stop, tap the big button: arrive, wait quietly, listen."),
  gettext("Tap each species you hear. If you hear nothing, tap nothing."),
  gettext("At the end, tap “Finish route” and submit. No signal? It will be sent later."),
];

export async function screen(app) {
  const { slug } = app.config;
  const packets = (await getAll("packets")).filter((packet) => packet.slug === slug);
  const zone = packets[0]?.route.time_zone ?? "UTC";
  const state = h("div", { class: "kept", role: "status" });
  const signIn = signInLink(app.config);
  const send = sendButton(app);
  const visits = h("ul", { class: "plain-list picks" });
  const visitsBox = h(
    "section",
    { "aria-labelledby": "visits-title" },
    h("h2", { id: "visits-title" }, gettext("Visits on this phone")),
    visits,
  );
  const keeping = keepingBox(app);
  const settings = h("div");
  const node = h(
    "div",
    { class: "home" },
    h(
      "section",
      { class: "panel", "aria-label": gettext("Saved on this phone") },
      state,
      h("div", { class: "actions" }, send, signIn.node),
    ),
    visitsBox,
    thrownAwayBox(app, await thrownAway(slug)),
    routes(app, packets),
    h("a", { class: "btn btn--block", href: "#/guide" }, icon("guide"), gettext("Guide, cautions and codes")),
    h("a", { class: "btn btn--block", href: "#/practice" }, icon("ear"), gettext("Practice calls")),
    keeping.node,
    settings,
    document.getElementById("cautions").content.cloneNode(true),
  );
  const welcome = firstNight();
  const comingBack = h("div");
  node.prepend(comingBack, welcome);
  let drawings = 0;

  /** A drawing that was overtaken by a later one is left. */
  async function update() {
    const drawing = ++drawings;
    const [list, ahead] = await Promise.all([statuses(slug), setting("clock-ahead", 0)]);
    if (drawing !== drawings) return;
    const sound = app.sounds?.unsentWords() ?? "";
    const waiting = countWaiting(list);
    setSentences(state, [
      summaryWords(list.length, waiting, sound),
      sound && `${sound}.`,
      app.sync ? syncWords(app.sync.status, list) : "",
      sound ? app.sounds.sendingWords() : "",
      clockWords(ahead) &&
        gettext("{clock_words} Correct it before the survey.", { clock_words: clockWords(ahead) }),
    ]);
    app.comingBack?.show(comingBack);
    signIn.show(app.sounds?.signedOut() ? "signed-out" : app.sync?.status.kind);
    send.hidden = !waiting && !sound;
    visitsBox.hidden = !list.length;
    keeping.update(packets.length > 0 || list.length > 0);
    welcome.hidden = list.length > 0;
    list.sort((a, b) => (a.visit.night < b.visit.night ? 1 : -1));
    visits.replaceChildren(...list.map((standing) => visitRow(app, standing, zone)));
  }
  fetchSettings(app, settings);
  return { title: gettext("Survey"), node, update };
}

/** The first look does without. */
async function fetchSettings(app, place) {
  const { settings } = await import("./home/settings.js");
  place.replaceWith(settings(app));
}

function firstNight() {
  return h(
    "section",
    { class: "panel", "aria-labelledby": "first-title" },
    h("h2", { id: "first-title" }, gettext("Your first night")),
    h(
      "ol",
      null,
      FIRST_NIGHT.map((text) => h("li", null, text)),
    ),
    h("p", null, h("a", { href: "#/guide/how-to-survey" }, gettext("How to survey"))),
  );
}
