// The stops of the route on the part of the map that was taken along, and where the phone is.
// The list of stops says the same in words. surveys/land/around.py describes the part.
import { gettext } from "../../language.js";
import { h, setAttribute, svg } from "../../dom.js";
import { place } from "../../place.js";

const RADIUS_M = 6_378_137;
const RADIANS = Math.PI / 180;
// Sizes as shares of the width, for text of the usual size on a narrow phone.
const SIGN = 1 / 30;
const TEXT = 1 / 24;

/** `node` is null where no part was taken along. */
export function stopsMap(land, stops) {
  if (!land) return { node: null, tick: () => {} };
  const here = svg("circle", { class: "land__here" });
  const picture = h("div", { class: "land" });
  const node = h(
    "details",
    {
      class: "panel",
      ontoggle: () => node.open && !picture.firstChild && picture.append(draw(land, stops, here)),
    },
    h("summary", null, gettext("Map of the stops")),
    picture,
    h("p", { class: "small muted" }, gettext("Map: {names}", { names: land.credits.join(", ") })),
  );
  const tick = () => {
    const at = place.fix && toPicture(land, place.fix);
    setAttribute(here, "visibility", at && isInside(land, at) ? "visible" : "hidden");
    if (at)
      for (const [name, value] of [
        ["cx", at[0]],
        ["cy", at[1]],
      ])
        setAttribute(here, name, value);
  };
  return { node, tick };
}

function draw(land, stops, here) {
  const [width, height] = land.size;
  const rem = Number.parseFloat(getComputedStyle(document.documentElement).fontSize) / 16;
  const sign = width * SIGN * rem;
  setAttribute(here, "r", sign * 0.6);
  return svg(
    "svg",
    {
      viewBox: `0 0 ${width} ${height}`,
      role: "img",
      "aria-label": gettext("Map of the stops. They are in the list above, too."),
    },
    svg("path", { class: "land__ground", d: rings(land, land.land) }),
    svg("path", { class: "land__water", d: rings(land, land.water) }),
    ...land.lines.map(([kind, points]) =>
      svg("path", { class: `land__line land__line--${kind}`, d: path(land, points) }),
    ),
    ...land.names.map(([name, x, y]) =>
      svg("text", { class: "land__name", x, y: height - y, "font-size": width * TEXT * rem }, name),
    ),
    ...stops.filter((stop) => stop.place).map((stop) => stopSign(land, stop, sign)),
    here,
  );
}

function stopSign(land, { number, place: at }, size) {
  const [x, y] = toPicture(land, at);
  return svg(
    "g",
    { class: "land__stop" },
    svg("circle", { cx: x, cy: y, r: size }),
    svg("text", { x, y, "font-size": size * 1.2 }, String(number)),
  );
}

const path = ({ size }, points) => `M${points.map(([x, y]) => `${x} ${size[1] - y}`).join("L")}`;
const rings = (land, all) => all.map((ring) => `${path(land, ring)}Z`).join("");
const isInside = ({ size }, [x, y]) => x >= 0 && y >= 0 && x <= size[0] && y <= size[1];

/** Web Mercator, from the upper left corner of the part. */
function toPicture({ origin, size }, { latitude, longitude }) {
  const x = longitude * RADIANS * RADIUS_M;
  const y = Math.log(Math.tan(Math.PI / 4 + (latitude * RADIANS) / 2)) * RADIUS_M;
  return [Math.round(x - origin[0]), Math.round(size[1] - (y - origin[1]))];
}
