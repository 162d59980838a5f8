// "Save tonight on this phone", on Tonight and on the page of a route: the packet, the screen and the
// promise to keep both.
import { gettext, ngettext } from "./language.js";
import { keepPacket } from "./model.js";
import { keepReferences } from "./references.js";
import { day } from "./rules/words.js";

const ASKED_AFTER_MS = 500;

function say(box, kind, ...sentences) {
  const message = document.createElement("div");
  message.className = `message message--${kind}`;
  const words = document.createElement("p");
  words.textContent = sentences.filter(Boolean).join(" ");
  message.append(words);
  box.querySelector("[data-take-result]").replaceChildren(message);
  return words;
}

async function fetchPacket(box) {
  const response = await fetch(box.dataset.packet, {
    headers: { Accept: "application/json" },
    redirect: "manual",
  });
  if (response.type === "opaqueredirect")
    throw new Error(gettext("You are signed out. Sign in, then save tonight again."));
  if (!response.ok)
    throw new Error(
      gettext("Could not download the route (error {status}). Try again in a few minutes.", {
        status: response.status,
      }),
    );
  return response.json();
}

/** Registers the worker and waits until it has stored every file of the screen. */
async function keepScreen(box) {
  if (!("serviceWorker" in navigator)) return false;
  const registration = await navigator.serviceWorker.register(box.dataset.worker);
  await registration.update().catch(() => {});
  // So that any address of the site leads to the survey where there is no signal.
  navigator.serviceWorker.register(box.dataset.offline).catch(() => {});
  const worker = registration.installing ?? registration.waiting ?? registration.active;
  if (!worker) return false;
  if (worker.state === "activated" || worker.state === "installed") return true;
  return new Promise((resolve) => {
    worker.addEventListener("statechange", () => {
      if (worker.state === "activated" || worker.state === "installed") resolve(true);
      if (worker.state === "redundant") resolve(Boolean(registration.active));
    });
  });
}

async function take(box, button) {
  button.disabled = true;
  say(box, "info", gettext("Saving tonight on this phone …"));
  try {
    const slug = box.dataset.survey.split("/")[1];
    const packet = await keepPacket(slug, await fetchPacket(box));
    const screen = await keepScreen(box);
    const calls = await keepReferences(packet).catch(() => ({ number: 0 }));
    askToKeep(say(box, screen ? "success" : "warning", ...savedWords(packet, screen), callsWords(calls)));
  } catch (error) {
    const offline = error instanceof TypeError;
    say(
      box,
      "error",
      offline ? gettext("No connection. Go where there is signal and try again.") : error.message,
    );
  } finally {
    button.disabled = false;
  }
}

const savedWords = ({ route, species, nights }, screen) => [
  gettext("Saved on this phone: {code} {name}, {stops}, {species}, sunset and moon through {day}.", {
    code: route.code,
    name: route.name,
    stops: ngettext("{number} stop", "{number} stops", route.stops.length),
    species: ngettext("{number} species", "{number} species", species.length),
    day: day(Object.keys(nights).at(-1)),
  }),
  screen
    ? gettext("You can survey without signal.")
    : gettext("This browser cannot save the survey screen: keep it open until you are done."),
];

const callsWords = ({ number, bytes }) =>
  number > 0 &&
  ngettext("{number} reference call ({size} MB).", "{number} reference calls ({size} MB).", number, {
    size: (bytes / 1_000_000).toFixed(1),
  });

/** Some browsers ask the observer, who may never answer: all is saved meanwhile. */
async function askToKeep(words) {
  const saved = words.textContent;
  const add = (sentence) => {
    words.textContent = `${saved} ${sentence}`;
  };
  const asking = setTimeout(
    () => add(gettext("If your browser asks whether this site may store data, tap Allow.")),
    ASKED_AFTER_MS,
  );
  const isSafe = await navigator.storage?.persist?.().catch(() => false);
  clearTimeout(asking);
  add(
    isSafe
      ? gettext("The browser will keep it.")
      : gettext(
          "If the phone runs low on space, the browser may delete it: send the visit soon after the night.",
        ),
  );
}

for (const box of document.querySelectorAll("[data-take]")) {
  const button = box.querySelector("[data-take-button]");
  button.hidden = false;
  button.addEventListener("click", () => take(box, button));
}
