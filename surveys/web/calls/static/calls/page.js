// Buttons that play the calls of a page. Without this script they are not there, and the words are.
import { gettext } from "../survey/language.js";
import { whyQuiet } from "../survey/quiet.js";
import { play, stop } from "./player.js";

/** Brings the buttons of a part of a page to life. */
export function showPlayers(part) {
  const settings = part.querySelector("[data-call-settings]");
  if (settings) settings.hidden = false;
  const form = settings?.querySelector("form");
  for (const box of part.querySelectorAll("[data-call]")) showPlayer(box, form);
  for (const audio of part.querySelectorAll("audio[data-reference]")) watch(audio);
}

function showPlayer(box, form) {
  const call = JSON.parse(box.dataset.call);
  const button = box.querySelector("button");
  const trouble = box.querySelector("[role=status]");
  const words = button.querySelector("[data-words]");
  let isPlaying = false;
  const show = (now) => {
    isPlaying = now;
    words.textContent = now ? gettext("Stop") : gettext("Play the call");
  };
  button.addEventListener("click", async () => {
    if (isPlaying) return stop();
    trouble.textContent = "";
    show(true);
    const asked = wanted(form, Number(box.dataset.celsius || Number.NaN));
    const ended = (why) => {
      trouble.textContent = why;
      show(false);
    };
    const why = await play({ ...asked, voices: [{ call, index: asked.index }] }, ended);
    return why && ended(why);
  });
  box.hidden = false;
}

/** What the page asks for. A page without the choice has one male nearby, and a temperature of its own. */
export function wanted(form, celsius) {
  const chosen = (name, usual) => form?.elements[name]?.value || usual;
  const typed = Number.parseFloat(chosen("celsius", celsius));
  return {
    index: Number(chosen("index", 1)),
    distance: Number(chosen("distance", 10)),
    behind: chosen("behind", ""),
    celsius: Number.isFinite(typed) ? typed : null,
    seed: Math.floor(Math.random() * 2 ** 31),
  };
}

/** A recording stops a call made by computer, and does not play where nothing may. */
function watch(audio) {
  audio.addEventListener("play", async () => {
    stop();
    const why = await whyQuiet();
    const trouble = audio.parentElement.parentElement.querySelector("[role=status]");
    trouble.textContent = why;
    if (why) audio.pause();
  });
}

showPlayers(document);
