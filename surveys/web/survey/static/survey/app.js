// The survey screen: which part of it is shown, the clock that moves it, and what it says aloud.
import { gettext, ngettext } from "./language.js";
import { leaps, now } from "./clock.js";
import { NotStored } from "./database.js";
import { button, h, icon, setAttribute, setIcons, setText } from "./dom.js";
import * as model from "./model.js";
import * as store from "./store.js";
import * as theme from "./theme.js";

const TICK_MS = 250;
const SNACK_MS = 8_000;
const LEAP_MS = 15_000;
const $ = (id) => document.getElementById(id);
const screens = {
  home: () => import("./screens/home.js"),
  route: () => import("./screens/route.js"),
  stop: () => import("./screens/stop.js"),
  summary: () => import("./screens/summary.js"),
  guide: () => import("./screens/guide.js"),
  practice: () => import("./screens/practice.js"),
};
// These are of no visit, and play calls: the visit under way is open beside them, so that they are quiet
// while somebody waits or listens.
const BESIDE = ["guide", "practice"];
const BACK = {
  route: () => ["home"],
  guide: (page) => (page ? ["guide"] : ["home"]),
  practice: () => ["home"],
};
const where = () => window.location.hash.replace(/^#\//, "").split("/").filter(Boolean);
// The disk answers while the screen is fetched.
const packets = store.getAll("packets");
const here = where()[0] ? window.location.hash : store.setting("here", "");
screens[where()[0]]?.();

export const app = {
  config: JSON.parse($("survey-config").textContent),
  sync: null,
  sounds: null,
  judge: null,
  work: null,
  comingBack: null,
  /** What the next screen is to open at once. */
  aim: null,
  safe: null,
  go,
  bringBack,
  say: (words) => setText($("say"), words),
  alarm: (words) => setText($("alarm"), words),
  snack,
  trouble,
};
// The end of what scrolls behind the dock stands clear of its buttons.
const docks = new ResizeObserver(([{ target }]) =>
  document.body.style.setProperty("--dock-size", `${target.offsetHeight}px`),
);
let shown = null;
let hashShown = "";
let showings = 0;
let bar = null;
let nights = {};
const leap = leaps();

/** `home`, `route/<visit>`, `stop/<visit>/<number>`, `summary/<visit>`, `guide/<page>/<heading>`,
    `practice`. */
function go(...parts) {
  closeDialogs();
  const hash = `#/${parts.join("/")}`;
  if (window.location.hash === hash) show();
  else window.location.hash = hash;
}

const closeDialogs = () => {
  const open = document.querySelectorAll("dialog[open]");
  for (const dialog of open) dialog.close();
  return open.length > 0;
};

/** "Back" with a dialog open closes the dialog; the screen beneath stays. */
function moved() {
  if (closeDialogs() && hashShown) window.history.pushState(null, "", hashShown);
  else show();
}

/** A screen that was overtaken is not put in its place. */
async function show() {
  const showing = ++showings;
  const overtaken = () => showing !== showings;
  const [name, id, number] = where();
  if (!screens[name]) return go("home");
  const coming = screens[name]();
  const isBeside = BESIDE.includes(name);
  const isOfVisit = !isBeside && id;
  if (isBeside) await model.openUnderWay(overtaken, app.config);
  const open =
    !isOfVisit || model.model.visit?.id === id || (await model.openVisit(id, overtaken, app.config));
  if (overtaken()) return undefined;
  if (!open) {
    snack(gettext("Its route is not on this phone: sign in first."));
    return go("home");
  }
  const { screen } = await coming;
  if (overtaken()) return undefined;
  // Where to begin the next time is a comfort only.
  if (!isBeside) store.setSetting("here", window.location.hash).catch(() => {});
  shown?.leave?.();
  const next = await screen(app, isOfVisit ? Number(number) : number, id);
  if (overtaken()) return undefined;
  shown = next;
  hashShown = window.location.hash;
  $("main").replaceChildren(shown.node, ...(shown.dock ? [shown.dock] : []));
  $("main").classList.toggle("stage--dock", Boolean(shown.dock));
  docks.disconnect();
  if (shown.dock) docks.observe(shown.dock);
  else document.body.style.removeProperty("--dock-size");
  document.title = `${shown.title} · ${app.config.program}`;
  setText(bar.title, shown.title);
  bar.back.hidden = name === "home";
  bar.back.onclick = () => go(...(BACK[name]?.(id) ?? ["route", id]));
  window.scrollTo(0, 0);
  $("main").focus({ preventScroll: true });
  update();
  if (app.aim) shown.reveal?.(app.aim);
  app.aim = null;
  return undefined;
}

function update() {
  checkClock();
  shown?.update?.();
  const { visit } = model.model;
  const waits = visit ? model.unsent().length : 0;
  const sound = app.sounds?.unsentWords(visit?.id) ?? "";
  bar.mark.dataset.waits = waits || sound ? "yes" : "no";
  setText(
    bar.marked,
    [
      waits
        ? ngettext("{number} entry on this phone only", "{number} entries on this phone only", waits)
        : "",
      sound,
    ]
      .filter(Boolean)
      .join(", ") || (visit ? gettext("Everything sent") : gettext("Visits on this phone")),
  );
}

async function reloadVisit(visit) {
  if (visit === store.PLACES) return where()[0] === "home" ? show() : undefined;
  if (visit !== model.model.visit?.id) return update();
  if (await model.reload()) return undefined;
  shown?.leave?.();
  shown = null;
  model.close();
  go("home");
  if (await store.setting(store.THROWN + visit))
    return snack(gettext("The visit was deleted; it is no longer on this phone."), () => bringBack(visit));
  return snack(gettext("You are signed out. The visit is on the server, no longer on this phone."));
}

async function bringBack(visit) {
  await store.bringBack(visit);
  app.sync?.soon(0);
  go("route", visit);
}

/** Of two tabs the one that is seen asks. */
function checkClock() {
  if (document.visibilityState !== "visible") return;
  const leapt = leap();
  if (leapt > LEAP_MS) model.leapt(leapt);
}

function tick() {
  checkClock();
  theme.show(theme.choice() === "auto" ? theme.isDark(nights, now()) : theme.choice() === "night");
  shown?.tick?.(now());
  const { stop, words, told } = app.work?.tick(where()) ?? {};
  bar.clock.hidden = !stop;
  setText(bar.clock, words ?? "");
  setAttribute(bar.clock, "aria-label", told ?? null);
}

/** The bar is part of the page: it stands before any script. */
function fillBar() {
  const [back, title, clock, mark, marked, light] = ["back", "title", "clock", "mark", "marked", "theme"].map(
    (part) => $(`bar-${part}`),
  );
  clock.addEventListener("click", () => go("stop", model.model.visit.id, app.work.stop().number));
  mark.addEventListener("click", () =>
    model.model.visit ? go("summary", model.model.visit.id) : go("home"),
  );
  light.addEventListener("click", switchTheme);
  return { back, title, clock, mark, marked };
}

function switchTheme() {
  const dark = document.documentElement.dataset.theme === "night";
  theme.choose(dark ? "day" : "night");
  tick();
  app.say(dark ? gettext("Day theme") : gettext("Night theme"));
  shown?.update?.();
}

/** A sentence in the place of the title, with a way back where there is one. */
function snack(words, undo) {
  const note = h("div", null, h("span", null, words));
  if (undo)
    note.append(
      button(
        gettext("Undo"),
        () => {
          note.remove();
          undo();
        },
        { name: "undo" },
      ),
    );
  $("snack").replaceChildren(note);
  app.say(words);
  setTimeout(() => note.remove(), SNACK_MS);
}

/** What the phone could not do; it stays until closed. */
function trouble(words) {
  $("main")
    .querySelectorAll(".trouble")
    .forEach((note) => note.textContent.includes(words) && note.remove());
  const note = h(
    "div",
    { class: "message message--error trouble" },
    icon("error"),
    h("p", null, words),
    button(gettext("Close"), () => note.remove(), { kind: "small" }),
  );
  $("main").prepend(note);
  app.alarm(words);
}

async function begin() {
  setIcons(app.config.icons);
  bar = fillBar();
  for (const packet of await packets)
    if (packet.slug === app.config.slug) nights = { ...nights, ...packet.nights };
  tick();
  if (!where()[0]) window.location.replace((await here) || "#/home");
  model.onChange(update);
  store.onNews(reloadVisit);
  window.addEventListener("hashchange", moved);
  await show();
  document.body.dataset.ready = "yes";
  setInterval(tick, TICK_MS);
  await rest();
}

/** The signal may go before the worker has stored its files. */
async function holdScreens() {
  await Promise.all([
    ...Object.values(screens).map((screen) => screen()),
    import("./screens/home/settings.js"),
    import("./screens/sounds.js"),
    import("./screens/times.js"),
  ]);
  document.body.dataset.ready = "offline";
}

/** What the first screen can stand without. */
async function rest() {
  holdScreens();
  const [{ watchWork }, { judgeModel }, sync] = await Promise.all([
    import("./work.js"),
    import("./findings.js"),
    import("./sync.js"),
    import("./alerts.js").then(({ load }) => load()),
  ]);
  app.work = watchWork(app);
  app.judge = judgeModel;
  app.sync = sync;
  sync.onStatus(update);
  model.onChange(() => sync.soon());
  sync.start(app.config, (await packets).length > 0, (words) => snack(words));
  const sounds = await import("./recordings.js");
  sounds.onStatus(update);
  await sounds.start(app.config);
  app.sounds = sounds;
  sync.onStatus(({ kind }) => ["idle", "other-person"].includes(kind) && sounds.soon());
  sounds.soon();
  update();
  (await import("./practice/answers.js")).start(app.config);
  app.comingBack = await import("./screens/returntime.js");
  await app.comingBack.start(app.config, update);
  app.safe = (await navigator.storage?.persisted?.()) ?? false;
  update();
  await navigator.serviceWorker?.register(app.config.worker).catch(() => {});
  await navigator.serviceWorker?.register(app.config.offline).catch(() => {});
}

window.addEventListener("unhandledrejection", (event) => {
  const { reason } = event;
  const message = reason?.message ?? reason;
  if (!(reason instanceof NotStored))
    return trouble(
      gettext("This phone could not do that: {message}. Everything saved before is safe.", { message }),
    );
  event.preventDefault();
  return trouble(message);
});
begin();
