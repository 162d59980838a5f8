// "Take tonight along", on the page of a route: the packet, the screen and the promise to keep both.
import { gettext } from "./language.js";
import { keepPacket } from "./model.js";
import { day } from "./rules/words.js";

const box = document.querySelector("[data-take]");
const result = box?.querySelector("[data-take-result]");
const button = box?.querySelector("[data-take-button]");

function say(kind, ...sentences) {
  const message = document.createElement("div");
  message.className = `message message--${kind}`;
  const words = document.createElement("p");
  words.textContent = sentences.filter(Boolean).join(" ");
  message.append(words);
  result.replaceChildren(message);
}

async function fetchPacket() {
  const response = await fetch(box.dataset.packet, {
    headers: { Accept: "application/json" },
    redirect: "manual",
  });
  if (response.type === "opaqueredirect")
    throw new Error(gettext("You are signed out. Sign in, then take the night along again."));
  if (!response.ok)
    throw new Error(
      gettext("The server did not give the route (answer {status}). Try again in a while.", {
        status: response.status,
      }),
    );
  return response.json();
}

/** Registers the worker and waits until it has stored every file of the screen. */
async function keepScreen() {
  if (!("serviceWorker" in navigator)) return false;
  const registration = await navigator.serviceWorker.register(box.dataset.worker);
  await registration.update().catch(() => {});
  const worker = registration.installing ?? registration.waiting ?? registration.active;
  if (worker.state === "activated" || worker.state === "installed") return true;
  return new Promise((resolve) => {
    worker.addEventListener("statechange", () => {
      if (worker.state === "activated" || worker.state === "installed") resolve(true);
      if (worker.state === "redundant") resolve(Boolean(registration.active));
    });
  });
}

async function take() {
  button.disabled = true;
  say("info", gettext("Storing the night on this phone …"));
  try {
    const slug = box.dataset.survey.split("/")[1];
    const packet = await keepPacket(slug, await fetchPacket());
    const screen = await keepScreen();
    const safe = (await navigator.storage?.persist?.()) ?? false;
    const { route, species, nights } = packet;
    say(
      screen ? "success" : "warning",
      gettext("On this phone now: route {code} {name} with {route} stops,", {
        code: route.code,
        name: route.name,
        route: route.stops.length,
      }),
      `${species.length} species,`,
      gettext("the protocol, and sun and moon until {day}.", { day: day(Object.keys(nights).at(-1)) }),
      screen
        ? gettext("The survey works without a network.")
        : gettext("This browser cannot keep the screen itself: keep the survey open."),
      safe
        ? gettext("The browser has promised to keep it.")
        : gettext(
            "The browser may clear it when the phone runs out of space: send the visit soon after the night.",
          ),
    );
  } catch (error) {
    const offline = error instanceof TypeError;
    say("error", offline ? gettext("No connection. Go where there is signal and try again.") : error.message);
  } finally {
    button.disabled = false;
  }
}

button?.addEventListener("click", take);
