// Parts of the stop's screen that come after the first use of it.
import { gettext } from "../../language.js";
import { h } from "../../dom.js";

const LOADERS = {
  sounds: (app, number) => import("../sounds.js").then(({ stopSounds }) => stopSounds(app, number)),
  times: (app, number) => import("../times.js").then(({ timeFields }) => timeFields(app, number)),
};

/** `show(name)` puts a part in the place of its box, once, and brings it up to date. */
export function laterParts(app, number) {
  const boxes = { sounds: h("div"), times: h("div") };
  const parts = {};

  function show(name) {
    parts[name] ??= LOADERS[name](app, number).then((part) => {
      boxes[name].replaceWith(part.node);
      return part;
    });
    return parts[name].then((part) => part.update());
  }

  const correction = h(
    "details",
    { class: "panel", ontoggle: () => correction.open && show("times") },
    h("summary", null, gettext("Correct the times")),
    boxes.times,
  );

  function update() {
    if (app.sounds) show("sounds");
    if (parts.times) show("times");
  }
  function openTimes() {
    correction.open = true;
    return show("times");
  }
  return { sounds: boxes.sounds, correction, openTimes, update };
}
