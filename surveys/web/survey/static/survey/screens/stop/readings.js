// The readings of a stop by one tap: how many are missing, those of the last stop, and the air.
import { gettext, ngettext } from "../../language.js";
import { button, h, setText } from "../../dom.js";
import { model, text, undo, writeStop } from "../../model.js";
import { fieldOf } from "../conditions.js";
import { shortWords } from "../conditions/pickers.js";

const SAME = ["sky", "beaufort", "noise"];
const AIR = "air_temperature";
const STEPS = [-1, 0, 1];
// The second tap of a cold hand must not fall through to what lies beneath.
const LINGER_MS = 600;

/** What is missing at a stop of the readings `names`, and what may be taken over from before. */
export function stopReadings(app, here, names) {
  const { number } = here.stop;
  const { typed } = here;

  function missing() {
    const assumed = typed("status") ? {} : { [`stops.${number}.status`]: "listened" };
    const asked = (app.judge?.(assumed) ?? [])
      .filter(({ code, stop }) => code.endsWith("-missing") && (stop === null || stop === number))
      .map(({ field }) => field);
    return names.filter((name) => asked.includes(name) && !typed(name));
  }

  /** Where `names` were read last, before this stop; the start of the evening where no stop has any. */
  function before(...wanted) {
    const earlier = model.stops.slice(0, model.stops.indexOf(here.stop)).reverse();
    const places = [...earlier.map((stop) => `stops.${stop.number}.`), "start."];
    return places.find((place) => wanted.some((name) => text(place + name)));
  }

  function offered() {
    const lacks = missing();
    const isWanted = (place) => (name) =>
      !typed(name) && text(place + name) && (place !== "start." || lacks.includes(name));
    const [place, airPlace] = [before(...SAME), before(AIR)];
    const air = airPlace && isWanted(airPlace)(AIR) ? Number(text(airPlace + AIR).replace(",", ".")) : null;
    return {
      lacks,
      place,
      same: place ? SAME.filter(isWanted(place)) : [],
      airs: Number.isFinite(air) && air !== null ? STEPS.map((by) => Math.round((air + by) * 10) / 10) : [],
    };
  }
  return { number, offered };
}

const placeWords = (place) =>
  place === "start."
    ? gettext("Same as at the start")
    : gettext("Same as stop {number}", { number: place.split(".")[1] });

/** Buttons that write down what `readings` offers, and the number of those that are missing. */
export function readingsRow(app, readings, goThere) {
  const caption = h("p", { class: "same__words" });
  const choices = h("div", { class: "same__choices" });
  const same = h(
    "div",
    { class: "same", role: "group", "aria-label": gettext("Readings") },
    caption,
    choices,
  );
  const missing = button("", goThere, { name: "temperature" });
  const missingWords = missing.querySelector("span");
  let offer = { lacks: [], same: [], airs: [] };
  let drawn = "";
  let until = 0;

  const take = (texts) => async () => {
    until = performance.now() + LINGER_MS;
    same.inert = true;
    await writeStop(readings.number, texts);
    const words = Object.entries(texts).map(([name, typed]) => told(name, typed));
    app.snack(words.join(", "), undo);
  };

  /** Asks the rules, so it is for changes, not for every tick. */
  function update() {
    offer = readings.offered();
  }

  function draw(isShown) {
    if (performance.now() < until) return;
    const { lacks, same: names, airs } = offer;
    missing.hidden = !isShown || !lacks.length;
    setText(missingWords, ngettext("{number} reading missing", "{number} readings missing", lacks.length));
    same.hidden = !isShown || !(names.length || airs.length);
    same.inert = false;
    const key = JSON.stringify(offer);
    if (key === drawn) return;
    drawn = key;
    fillChoices(offer);
  }

  function fillChoices({ place, same: names, airs }) {
    const texts = Object.fromEntries(names.map((name) => [name, text(place + name)]));
    const heading = names.length ? placeWords(place) : fieldOf(AIR).title;
    const list = names.map((name) => told(name, texts[name])).join(", ");
    setText(caption, list ? gettext("{heading}: {list}", { heading, list }) : heading);
    const withAir = airs.map((air) =>
      button(
        names.length ? gettext("Same, {air}°", { air }) : `${air}°`,
        take({ ...texts, [AIR]: String(air) }),
      ),
    );
    choices.replaceChildren(...(airs.length ? withAir : [button(heading, take(texts))]));
  }
  return { same, missing, update, draw };
}

function told(name, typed) {
  const field = fieldOf(name);
  return gettext("{label} {words}", { label: field.label, words: shortWords(typed, field) });
}
