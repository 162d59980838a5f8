// Routes that were taken along: tonight's hours, and beginning a visit.
import { gettext, ngettext } from "../../language.js";
import { button, dialog, h } from "../../dom.js";
import { beginVisit, fetchPacket, thisNight, visitsOf } from "../../model.js";
import { clock, day } from "../../rules/words.js";
import { stateWords } from "../../status.js";
import { EDITABLE } from "../../store.js";
import { inUse } from "../../visitstops.js";

const NO_ROUTE = gettext(
  "No route is saved on this phone yet. With signal, open your route and tap “Save tonight on this phone”.",
);

export function routes(app, packets) {
  return h(
    "section",
    { "aria-labelledby": "routes-title" },
    h("h2", { id: "routes-title" }, gettext("Routes saved on this phone")),
    packets.length ? packets.map((packet) => routeCard(app, packet)) : noRoute(app),
  );
}

function noRoute({ config }) {
  return h(
    "div",
    { class: "empty" },
    h("p", null, NO_ROUTE),
    h("a", { class: "btn btn--primary", href: config.tonight }, gettext("Go to Tonight")),
  );
}

function routeCard(app, packet) {
  const { code, name, stops, time_zone: zone, access_notes: access } = packet.route;
  const night = thisNight(packet);
  const tonight = packet.nights[night];
  const last = day(Object.keys(packet.nights).at(-1));
  const count = stops.filter((stop) => inUse(stop, night)).length;
  const notes = [access, packet.program.local_rules].filter(Boolean);
  const tooOld = [
    gettext("Saved through the night of {last}.", { last }),
    gettext("You can still survey. Save the route again to update sunset and moon."),
  ].join(" ");
  return h(
    "article",
    { class: "panel panel--now" },
    h("h3", null, `${code} ${name}`),
    h("p", null, tonight ? evening(tonight, zone) : tooOld),
    h(
      "p",
      { class: "small muted" },
      ngettext(
        "{number} stop; sunset and moon through {last}",
        "{number} stops; sunset and moon through {last}",
        count,
        {
          last,
        },
      ),
    ),
    notes.length
      ? h(
          "details",
          null,
          h("summary", null, gettext("Access and local rules")),
          notes.map((words) => h("p", { class: "small" }, words)),
        )
      : null,
    h(
      "div",
      { class: "actions" },
      button(gettext("Survey the night of {day}", { day: day(night) }), () => start(app, packet, night), {
        kind: "primary large block",
      }),
      button(gettext("Refresh"), () => refresh(app, code), { name: "download", kind: "quiet" }),
    ),
  );
}

/** Begin the visit of a night; where all of that night are handed in, ask first. */
async function start(app, packet, night) {
  const { slug } = app.config;
  const begin = async () => app.go("route", await beginVisit(slug, packet, night));
  const visits = await visitsOf(slug, packet, night);
  const isAllHandedIn = visits.length && visits.every(({ state }) => !EDITABLE.includes(state));
  return isAllHandedIn ? askSecond(app, visits.at(-1), begin) : begin();
}

function askSecond(app, visit, begin) {
  const words = [
    gettext("Your visit to {code} on {day} is {state_words}.", {
      day: day(visit.night),
      code: visit.route.code,
      state_words: stateWords(visit),
    }),
    gettext("If you start another, the coordinator will decide which one counts."),
  ].join(" ");
  const closing = (action) => () => {
    box.close();
    action();
  };
  const box = dialog(
    gettext("You already submitted a visit for this night"),
    h("p", null, words),
    button(
      gettext("Look at the visit"),
      closing(() => app.go("summary", visit.id)),
      { kind: "primary block" },
    ),
    button(gettext("Start another visit"), closing(begin), { kind: "block" }),
  );
}

async function refresh(app, code) {
  const { answer, packet } = await fetchPacket(app.config, code);
  if (!answer) return app.snack(gettext("No signal. The route stays as it is on this phone."));
  if (answer.type === "opaqueredirect") return app.snack(gettext("You are signed out: sign in first."));
  if (!packet)
    return app.snack(gettext("Could not download the route (error {status}).", { status: answer.status }));
  app.snack(gettext("The route is up to date on this phone"));
  return app.go("home");
}

function evening(tonight, zone) {
  const first = Object.values(tonight.stops)[0];
  if (!first) return "";
  const { sunset } = first.sky;
  const { earliest_start: start, latest_end: end } = tonight.hours ?? first;
  const moon =
    tonight.moon && gettext("moon {share}% lit", { share: Math.round(tonight.moon.lit_share * 100) });
  const hours = [
    sunset && gettext("Sunset {clock}", { clock: clock(Date.parse(sunset), zone) }),
    start && gettext("start from {clock}", { clock: clock(Date.parse(start), zone) }),
    end && gettext("end by {clock}", { clock: clock(Date.parse(end), zone) }),
    moon,
  ];
  const window = tonight.window
    ? gettext("Window: {window}.", { window: tonight.window })
    : gettext("No survey window is open tonight.");
  return `${hours.filter(Boolean).join(", ")}. ${window}`;
}
