// Sounds, light and the network, as this phone keeps them.
import { gettext } from "../../language.js";
import * as alerts from "../../alerts.js";
import { h } from "../../dom.js";
import * as theme from "../../theme.js";

const LIGHTS = { red: gettext("Deep red"), amber: gettext("Amber"), white: gettext("Dim white") };
const THEMES = { auto: gettext("Night after dusk"), night: gettext("Night"), day: gettext("Day") };

/** Only where the browser knows what kind of network it has. */
function wifiBox() {
  if (navigator.connection?.type === undefined) return null;
  const input = h("input", {
    type: "checkbox",
    id: "set-wifi",
    onchange: () => import("../../recordings.js").then(({ setOnlyWifi }) => setOnlyWifi(input.checked)),
  });
  import("../../recordings.js").then(async ({ onlyWifi }) => {
    input.checked = await onlyWifi();
  });
  return h(
    "label",
    { class: "choice", for: "set-wifi" },
    input,
    gettext("Send recordings over Wi-Fi only (visits are sent right away)"),
  );
}

export function settings(app) {
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
  const radios = (group, words, current, choose) =>
    Object.keys(words).map((name) => {
      const id = `${group}-${name}`;
      const onchange = () => {
        choose(name);
        app.say(words[name]);
      };
      const input = h("input", { type: "radio", name: group, id, checked: current === name, onchange });
      return h("label", { class: "choice", for: id }, input, words[name]);
    });
  const choices = radios("theme", THEMES, theme.choice(), theme.choose);
  const lights = radios("light", LIGHTS, theme.light(), theme.chooseLight);
  return h(
    "details",
    { class: "panel" },
    h("summary", null, gettext("Settings")),
    box("sound", gettext("Tone when time is up")),
    box("vibration", gettext("Vibrate when time is up")),
    h("fieldset", { class: "field" }, h("legend", null, gettext("Theme")), choices),
    h(
      "fieldset",
      { class: "field" },
      h("legend", null, gettext("Colors in the dark")),
      h(
        "p",
        { class: "small muted" },
        gettext("Red is easiest on your night vision. If it is hard to read, choose amber or white."),
      ),
      lights,
    ),
    wifiBox(),
  );
}
