// Several species at once, each with a call index. Without this script the part of the page is not there.
import { gettext } from "../survey/language.js";
import { listed } from "../survey/rules/words.js";
import { wanted } from "./page.js";
import { play, stop } from "./player.js";

const box = document.querySelector("[data-chorus]");
const form = box.querySelector("form");
const words = form.querySelector("[data-words]");
const told = form.querySelector("[role=status]");
const PLAY = words.textContent;
let isPlaying = false;

function show(now) {
  isPlaying = now;
  words.textContent = now ? gettext("Stop") : PLAY;
}

/** The species that were chosen, each once, with name, call and index. */
function chosenVoices() {
  const chosen = new Map();
  for (const row of form.querySelectorAll("[data-voice]")) {
    const { value, selectedOptions } = row.querySelector("[name=species]");
    const index = Number(row.querySelector("[name=index]").value);
    const [{ textContent: name }] = selectedOptions;
    if (value) chosen.set(value, { name: name.trim(), call: JSON.parse(value), index });
  }
  return [...chosen.values()];
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (isPlaying) return stop();
  const voices = chosenVoices();
  if (!voices.length) {
    told.textContent = gettext("Choose a species first.");
    return form.querySelector("[name=species]").focus();
  }
  const names = voices.map(({ name, index }) =>
    gettext("{species} (call index {index})", { species: name, index }),
  );
  told.textContent = gettext("You hear {species}.", { species: listed(names) });
  show(true);
  const ended = (why) => {
    if (why) told.textContent = why;
    show(false);
  };
  const settings = document.querySelector("[data-call-settings] form");
  const why = await play({ ...wanted(settings, Number.NaN), voices }, ended);
  return why && ended(why);
});
box.hidden = false;
