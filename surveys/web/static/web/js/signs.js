// What stands at a place on a map: numbered stops, call indexes, and the popups that tell of them.
// Everything is written as text, never as HTML. Colors come from map.css alone.
import { gettext } from "../../survey/language.js";

const { L } = window;
const STATES = new Set(["done", "here", "not-reached", "finding"]);
const SIGNS = { "not-reached": "–", "not-sure": "?" };
const INDEX_WORDS = { "not-reached": gettext("not reached"), "not-sure": gettext("heard, not sure") };

/** The numbered sign of a stop, also for maps that add stops one by one. */
export function stopIcon({ number, index, state, first }) {
  const sign = document.createElement("span");
  if (index === undefined) {
    sign.textContent = String(number);
    const classes = ["stop-marker"];
    if (first) classes.push("stop-marker--first");
    if (STATES.has(state)) classes.push(`stop-marker--${state}`);
    return L.divIcon({ className: classes.join(" "), html: sign, iconSize: [30, 30] });
  }
  sign.textContent = SIGNS[index] ?? String(index);
  return L.divIcon({ className: `ci ci--${index}`, html: sign, iconSize: [28, 28] });
}

/** The marker of a point feature, at `place`. */
export function markerOf({ properties }, place) {
  const title = titleOf(properties);
  return L.marker(place, {
    alt: title,
    icon: stopIcon(properties),
    keyboard: true,
    title,
    // Where stops lie on top of each other, the strongest call is seen.
    zIndexOffset: 1000 * (Number(properties.index) || 0),
  });
}

/** Give the layer of a feature its popup, and a marker its role and name for screen readers. */
export function describe({ properties }, layer, { autoPan }) {
  const title = titleOf(properties);
  layer.bindPopup(() => popupContent({ title, ...properties }), { autoPan, maxWidth: 260 });
  if (!(layer instanceof L.Marker)) return;
  // Leaflet makes markers focusable; they must also say what they are, and give the focus back.
  layer.on("add", () => {
    const element = layer.getElement();
    element.setAttribute("role", "button");
    element.setAttribute("aria-label", title);
  });
  layer.on("popupopen", ({ popup }) => {
    if (document.activeElement === layer.getElement()) popup.getElement().querySelector("a")?.focus();
  });
}

function titleOf(properties) {
  const what = subjectOf(properties);
  const { index } = properties;
  if (index === undefined) return what;
  const heard = INDEX_WORDS[index] ?? gettext("call index {index}", { index });
  return gettext("{what}, {heard}", { what, heard });
}

/** A sign with a `title` is no stop, such as that of a route with its number in a list. */
function subjectOf({ kind, number, name, title }) {
  if (title) return title;
  if (kind !== "stop") return name ?? gettext("Route");
  return name ? gettext("Stop {number}: {name}", { number, name }) : gettext("Stop {number}", { number });
}

/** A list of texts, with a link where there is somewhere to go. */
function popupContent({ title, lines = [], url, link }) {
  const box = document.createElement("div");
  const heading = document.createElement("strong");
  heading.textContent = title;
  box.append(heading);
  for (const line of lines) {
    const row = document.createElement("div");
    row.textContent = line;
    box.append(row);
  }
  if (url) {
    const anchor = document.createElement("a");
    anchor.href = url;
    anchor.textContent = link ?? gettext("Open");
    box.append(anchor);
  }
  return box;
}
