// What is on the phone: routes to survey, visits under way, settings.
import * as alerts from "../alerts.js";
import { button, dialog, h, setSentences } from "../dom.js";
import { beginVisit, inUse, keepPacket, thisNight, visitsOf } from "../model.js";
import { clock, clockUp, day } from "../rules/words.js";
import { clockWords, keptWords, standings, stateWords, syncWords } from "../saying.js";
import { EDITABLE, getAll, setting, thrownAway } from "../store.js";
import * as theme from "../theme.js";
import { signInLink } from "./signin.js";

const THEMES = { auto: "Night after dusk", night: "Night", day: "Day" };

export async function screen(app) {
  const { config } = app;
  const packets = (await getAll("packets")).filter(({ slug }) => slug === config.slug);
  const state = h("div", { class: "kept", role: "status" });
  const signIn = signInLink(config);
  const send = button(
    "Send now",
    () => {
      app.sync?.syncAll();
      app.sounds?.soon(0, { anyway: true });
    },
    { name: "sync" },
  );
  const visits = h("ul", { class: "plain-list picks" });
  const visitsBox = h(
    "section",
    { "aria-labelledby": "visits-title" },
    h("h2", { id: "visits-title" }, "Visits on this phone"),
    visits,
  );
  const node = h(
    "div",
    { class: "home" },
    h(
      "section",
      { class: "panel", "aria-label": "What is stored" },
      state,
      h("div", { class: "actions" }, send, signIn.node),
    ),
    visitsBox,
    thrown(await thrownAway(config.slug)),
    h(
      "section",
      { "aria-labelledby": "routes-title" },
      h("h2", { id: "routes-title" }, "Routes taken along"),
      packets.length ? packets.map(route) : nothing(),
    ),
    settings(app),
    document.getElementById("cautions").content.cloneNode(true),
  );
  let drawn = 0;

  function nothing() {
    return h(
      "div",
      { class: "empty" },
      h(
        "p",
        null,
        "No route is on this phone yet. Open tonight’s route while there is signal and press “Take tonight along”.",
      ),
      h("a", { class: "btn btn--primary", href: config.tonight }, "To Tonight"),
    );
  }

  /** What was thrown away here and may come back. */
  function thrown(list) {
    if (!list.length) return null;
    const one = ({ visit }) =>
      h(
        "li",
        null,
        button(`Bring back ${visit.route.code}, ${day(visit.night)}`, () => app.bringBack(visit.id), {
          kind: "block",
          name: "undo",
        }),
      );
    return h(
      "details",
      { class: "panel" },
      h("summary", null, `Thrown away (${list.length})`),
      h("p", { class: "small muted" }, "Kept on this phone for two weeks, without recordings."),
      h("ul", { class: "plain-list picks" }, list.map(one)),
    );
  }

  function route(packet) {
    const { code, name, stops, time_zone: zone, access_notes: access } = packet.route;
    const night = thisNight(packet);
    const tonight = packet.nights[night];
    const begin = async () => app.go("route", await beginVisit(config.slug, packet, night));
    const start = async () => {
      const known = await visitsOf(config.slug, packet, night);
      const handedIn = known.filter(({ state }) => !EDITABLE.includes(state));
      return handedIn.length && handedIn.length === known.length
        ? askSecond(handedIn.at(-1), begin)
        : begin();
    };
    const last = Object.keys(packet.nights).at(-1);
    const notes = [access, packet.program.local_rules].filter(Boolean);
    return h(
      "article",
      { class: "panel panel--now" },
      h("h3", null, `${code} ${name}`),
      h(
        "p",
        null,
        tonight
          ? evening(tonight, zone)
          : `This packet ends with the night of ${day(last)}. You can survey with it; take the route along again for sun and moon.`,
      ),
      h(
        "p",
        { class: "small muted" },
        `${stops.filter((stop) => inUse(stop, night)).length} stops, sun and moon until ${day(last)}`,
      ),
      notes.length
        ? h(
            "details",
            null,
            h("summary", null, "Access and local rules"),
            notes.map((words) => h("p", { class: "small" }, words)),
          )
        : null,
      h(
        "div",
        { class: "actions" },
        button(`Survey the night of ${day(night)}`, start, { kind: "primary large block" }),
        button("Refresh", () => refresh(code), { name: "download", kind: "quiet" }),
      ),
    );
  }

  function askSecond(visit, begin) {
    const box = dialog(
      "This night is handed in already",
      h(
        "p",
        null,
        `The visit of ${day(visit.night)} on ${visit.route.code} is ${stateWords(visit)}. A second one is a visit of its own, and the coordinator decides which counts.`,
      ),
      button(
        "Look at the visit",
        () => {
          box.close();
          app.go("summary", visit.id);
        },
        { kind: "primary block" },
      ),
      button(
        "Begin a second visit",
        () => {
          box.close();
          begin();
        },
        { kind: "block" },
      ),
    );
  }

  async function refresh(code) {
    try {
      const response = await fetch(`${config.packets}${code}.json`, { redirect: "manual" });
      if (response.type === "opaqueredirect") return app.snack("You are signed out: sign in first.");
      if (!response.ok) return app.snack(`The server did not give the route (answer ${response.status}).`);
      await keepPacket(config.slug, await response.json());
      app.snack("The route is up to date on this phone");
      return app.go("home");
    } catch {
      return app.snack("No network. The route stays as it is on this phone.");
    }
  }

  async function update() {
    const mine = ++drawn;
    const [found, ahead] = await Promise.all([standings(config.slug), setting("clock-ahead", 0)]);
    if (mine !== drawn) return;
    const sound = app.sounds?.hereOnly() ?? "";
    const waiting = found.filter(
      ({ visit, waits, clashes }) => waits || clashes || visit.wants_submit || !visit.synced_at,
    ).length;
    const summary =
      found.length === 0
        ? "No visit is on this phone yet."
        : waiting
          ? `${waiting === 1 ? "One visit has" : `${waiting} visits have`} not wholly reached the server.`
          : sound
            ? "All entries have reached the server."
            : "Everything on this phone has reached the server.";
    const sending = app.sync ? syncWords(app.sync.status, found) : "";
    const safe =
      app.safe === false && packets.length
        ? "The browser may clear this phone’s storage when space runs out."
        : "";
    const clockHelp = clockWords(ahead) && `${clockWords(ahead)} Set it right before the survey.`;
    setSentences(state, [
      summary,
      sound && `${sound}.`,
      sending,
      sound ? app.sounds.sendingWords() : "",
      clockHelp,
      safe,
    ]);
    signIn.show(app.sounds?.signedOut() ? "signed-out" : app.sync?.status.kind);
    send.hidden = !waiting && !sound;
    visitsBox.hidden = !found.length;
    const zone = packets[0]?.route.time_zone ?? "UTC";
    const rows = found
      .sort((one, other) => (one.visit.night < other.visit.night ? 1 : -1))
      .map((one) => visitRow(one, zone));
    visits.replaceChildren(...rows);
  }

  function visitRow(standing, zone) {
    const { visit } = standing;
    const open = () => app.go(["draft", "sent_back"].includes(visit.state) ? "route" : "summary", visit.id);
    return h(
      "li",
      null,
      h(
        "button",
        { type: "button", class: "btn btn--block pick", onclick: open },
        h("strong", null, `${visit.route.code}, ${day(visit.night)}`),
        h("span", null, stateWords(visit)),
        h(
          "span",
          { class: "small" },
          [
            visit.trouble?.words ?? keptWords(standing, zone),
            app.sounds?.listWords(app.sounds.ofVisit(visit.id)),
          ]
            .filter(Boolean)
            .join(" "),
        ),
      ),
    );
  }
  return { title: "Survey", node, update };
}

function evening(tonight, zone) {
  const first = Object.values(tonight.stops)[0];
  if (!first) return "";
  const { sunset } = first.sky;
  const moon = tonight.moon && `moon ${Math.round(tonight.moon.lit_share * 100)} % lit`;
  const hours = [
    sunset && `Sunset ${clock(Date.parse(sunset), zone)}`,
    first.earliest_start && `start from ${clockUp(Date.parse(first.earliest_start), zone)}`,
    first.latest_end && `end by ${clock(Date.parse(first.latest_end), zone)}`,
    moon,
  ];
  const window = tonight.window ? `Window: ${tonight.window}.` : "Tonight is in no season window.";
  return `${hours.filter(Boolean).join(", ")}. ${window}`;
}

/** Only where the browser knows what kind of network it has. */
function wifiBox() {
  if (navigator.connection?.type === undefined) return null;
  const input = h("input", {
    type: "checkbox",
    id: "set-wifi",
    onchange: () => import("../recordings.js").then(({ setOnlyWifi }) => setOnlyWifi(input.checked)),
  });
  import("../recordings.js").then(async ({ onlyWifi }) => {
    input.checked = await onlyWifi();
  });
  return h(
    "label",
    { class: "choice", for: "set-wifi" },
    input,
    "Send recordings by Wi-Fi only; everything else goes at once",
  );
}

function settings(app) {
  const box = (name, words) => {
    const input = h("input", {
      type: "checkbox",
      id: `set-${name}`,
      onchange: () => alerts.turn(name, input.checked),
    });
    alerts.load().then(() => {
      input.checked = alerts.isOn(name);
    });
    return h("label", { class: "choice", for: `set-${name}` }, input, words);
  };
  const choices = theme.CHOICES.map((name) => {
    const input = h("input", {
      type: "radio",
      name: "theme",
      id: `theme-${name}`,
      checked: theme.choice() === name,
      onchange: () => {
        theme.choose(name);
        app.say(THEMES[name]);
      },
    });
    return h("label", { class: "choice", for: `theme-${name}` }, input, THEMES[name]);
  });
  return h(
    "details",
    { class: "panel" },
    h("summary", null, "Sounds and light"),
    box("sound", "A low tone when a time is up"),
    box("vibration", "Vibration when a time is up"),
    h("fieldset", { class: "field" }, h("legend", null, "Theme"), choices),
    wifiBox(),
  );
}
