// What to do in an emergency.
import { gettext } from "../language.js";
import { now } from "../clock.js";
import { h, setText } from "../dom.js";
import { model } from "../model.js";
import { GOOD_ENOUGH_M, place, wayTo } from "../place.js";
import { distance } from "../rules/words.js";

const HERE_M = 500;

const EMERGENCY = (number) => [
  gettext("Get away from traffic and water."),
  number
    ? gettext("Call {number}. No signal? Try a text, or go where there is signal.", { number })
    : gettext("Call your local emergency number. No signal? Try a text, or go where there is signal."),
  gettext("Say where you are, as below. Say who is hurt and how."),
  gettext("Then call the person you left your route with."),
];

/** With their names: they are read aloud to whoever answers. */
const coordinates = ({ latitude, longitude }) =>
  gettext("Latitude {latitude}\nLongitude {longitude}", {
    latitude: latitude.toFixed(5),
    longitude: longitude.toFixed(5),
  });

/**
 * Closed until it is needed; works without signal. Its texts are large: a shaking hand holds them.
 * `stopNow()` is the stop that it is about. Where the phone knows its own place, it says that one,
 * and takes road and county of the stop for where it is only close to it.
 */
export function emergency(stopNow) {
  const { program, route } = model.packet;
  const { emergency_number: number, emergency_contact: contact } = program;
  const [road, county] = ["", ""].map(() => h("p", { class: "sos__where" }));
  const at = h("p", { class: "big-number" });
  const near = h("p");
  const node = h(
    "details",
    { class: "panel sos" },
    h("summary", null, gettext("Emergency")),
    number &&
      h(
        "a",
        { class: "btn btn--large btn--block", href: `tel:${number.replace(/[^+\d]/g, "")}` },
        gettext("Call {number}", { number }),
      ),
    h(
      "ol",
      null,
      EMERGENCY(number).map((text) => h("li", null, text)),
    ),
    road,
    county,
    at,
    near,
    contact && h("p", null, gettext("Program contact: {contact}", { contact })),
  );

  function tick() {
    const stop = stopNow();
    const found = wayTo(stop, now());
    const way = found?.accuracy <= GOOD_ENOUGH_M ? found : null;
    const spot = way ? place.fix : stop.place;
    const isHere = !way || way.meters < HERE_M;
    setText(road, isHere ? stop.road || gettext("The road is not saved here: give the coordinates.") : "");
    const area = stop.county || route.region;
    const ofStop = area && gettext("Stop {number} is in {area}.", { number: stop.number, area });
    setText(county, isHere ? area : ofStop);
    setText(at, spot ? coordinates(spot) : "");
    const meters = way && distance(way.meters, route.distance_unit);
    const words = [
      gettext("Stop {number}: {name}", stop),
      route.name,
      way && gettext("{meters} from this phone", { meters }),
    ];
    setText(near, words.filter(Boolean).join(", "));
  }
  return { node, tick };
}
