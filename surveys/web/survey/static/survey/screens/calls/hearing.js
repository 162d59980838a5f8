// Calls of a species and of what sounds like it: the program's recordings, and calls made by computer at the
// temperature of the evening.
import { button, h, setText } from "../../dom.js";
import { gettext } from "../../language.js";
import { model, text } from "../../model.js";
import { soundOf } from "../../references.js";

/** Packets of an earlier release hold neither. */
const callOf = (code) => model.packet.calls?.[code];
const referencesOf = (code) => (model.packet.references ?? []).filter(({ species }) => species === code);

/** Buttons for the calls of `codes` that are known, each under its name where `isNamed`; null without any. */
export function hearing(codes, named, isNamed) {
  const known = codes.filter((code) => callOf(code) || referencesOf(code).length);
  if (!known.length) return null;
  const trouble = h("p", { role: "status" });
  return h(
    "div",
    null,
    known.map((code) => callRow(code, named.get(code), isNamed, trouble)),
    trouble,
  );
}

/** What must be said wherever calls are played. */
export const HEARING = gettext(
  "Use headphones: calls played at a wetland disturb the animals. Local rules come first.",
);

function callRow(code, name, isNamed, trouble) {
  return h(
    "div",
    null,
    isNamed && h("p", null, h("strong", null, name)),
    referencesOf(code).map((reference) => recordedRow(reference, name, trouble)),
    callOf(code) && madeRow(callOf(code), name, trouble),
  );
}

function madeRow({ call, words }, name, trouble) {
  const player = (label, index) =>
    playButton(label, name, trouble, (player, ended) => {
      const seed = Math.floor(Math.random() * 2 ** 31);
      return player.play({ voices: [{ call, index }], celsius: airNow(), seed }, ended);
    });
  return h(
    "div",
    null,
    h("div", { class: "steps" }, player(gettext("Play one"), 1), player(gettext("Play a chorus"), 3)),
    h("p", { class: "small muted" }, `${gettext("Made by computer.")} ${words}`),
  );
}

function recordedRow({ url, by, license }, name, trouble) {
  const node = playButton(gettext("Play the recording"), name, trouble, async (player, ended) => {
    const sound = await soundOf(model.packet.slug, url);
    if (sound) return player.playFile(sound, ended);
    return gettext("This recording is not on this phone. Play it where there is signal.");
  });
  const words = gettext("Recorded by {by} ({license}).", { by, license });
  return h("div", null, h("div", { class: "steps" }, node), h("p", { class: "small muted" }, words));
}

/** `begin(player, ended)` plays; it gives why it could not, in words. */
function playButton(label, name, trouble, begin) {
  let stop = null;
  const node = button(label, press, { name: "ear", "aria-label": `${label}: ${name}` });
  const words = node.querySelector("span");
  const ended = (why) => {
    stop = null;
    setText(words, label);
    setText(trouble, why);
  };

  async function press() {
    if (stop) return stop();
    setText(trouble, "");
    const player = await import("../../../calls/player.js");
    const why = await begin(player, ended);
    setText(trouble, why);
    if (why) return undefined;
    stop = player.stop;
    return setText(words, gettext("Stop"));
  }
  return node;
}

/** The air temperature that was written down last, in °C; null where there is none. */
function airNow() {
  const places = [...model.stops.map(({ number }) => `stops.${number}.`).reverse(), "start."];
  const typed = places.map((place) => text(`${place}air_temperature`)).find(Boolean);
  const air = Number.parseFloat(typed?.replace(",", "."));
  if (!Number.isFinite(air)) return null;
  const unit = text("temperature_unit") || model.route.temperature_unit;
  return unit === "F" ? ((air - 32) * 5) / 9 : air;
}
