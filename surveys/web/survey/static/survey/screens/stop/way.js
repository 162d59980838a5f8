// The way to the stop: its name and notes, an arrow and the distance.
import { gettext } from "../../language.js";
import { now } from "../../clock.js";
import { button, h, setAttribute, setText, svg } from "../../dom.js";
import { model } from "../../model.js";
import { GOOD_ENOUGH_M, place, watch, wayTo } from "../../place.js";
import { distance } from "../../rules/words.js";

const NO_ARROW_M = 15;
const WITHOUT_POSITION = {
  refused: gettext(
    "Location is off. You can survey without it. To turn it on, tap the icon left of the address, then Location.",
  ),
  unasked: gettext(
    "With your location, the phone shows the way and saves where you listened. Your browser will ask next.",
  ),
  none: gettext("This phone has no location."),
  asking: gettext("Finding your location …"),
  on: gettext("Updating location …"),
  off: "",
};

export function wayBox(stop) {
  const arrow = svg(
    "svg",
    { viewBox: "0 0 24 24", class: "way__arrow", "aria-hidden": "true" },
    svg("path", { d: "M12 3l6 17-6-4-6 4z" }),
  );
  const words = h("span", { class: "way__words" });
  const notes = stop.notes && h("p", { class: "small muted" }, stop.notes);
  const row = h("div", { class: "way__row" }, arrow, words);
  const allow = button(gettext("Use my location"), watch, { kind: "block" });
  const node = h("div", { class: "way" }, h("strong", null, stop.name), row, allow, notes);

  /** Show the way, unless the stop is over; gives it back, or null without a fresh position. */
  function draw(isOver) {
    row.hidden = isOver;
    allow.hidden = isOver || place.state !== "unasked";
    const way = wayTo(stop, now());
    setText(words, way ? wayWords(way) : WITHOUT_POSITION[place.state]);
    setAttribute(arrow, "data-off", way && way.meters > nearEnough(way.accuracy) ? null : "yes");
    if (way) setAttribute(arrow, "transform", `rotate(${Math.round(way.degrees)})`);
    return way;
  }
  return { node, draw };
}

/** So near that a direction would only be the error of the position. */
const nearEnough = (accuracy) => Math.max(NO_ARROW_M, Math.min(accuracy, GOOD_ENOUGH_M));

function wayWords({ meters, point, accuracy }) {
  const length = (value) => distance(value, model.route.distance_unit).replaceAll(" ", "\u00a0");
  if (meters <= nearEnough(accuracy))
    return gettext("At the stop, give or take {accuracy}", { accuracy: length(accuracy) });
  return gettext("{meters} {point}, give or take {accuracy}", {
    meters: length(meters),
    point,
    accuracy: length(accuracy),
  });
}
