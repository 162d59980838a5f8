// Drawing the line of a route, or with `data-closed` the outline of an area. The text field works by
// itself: one point a line, latitude and longitude. This module shows the points on the map and
// writes what is drawn back into the field.
//
// <div data-line-map data-geojson="#id" data-points="#id" …> takes the same data as a map of map.js.
import { gettext, ngettext } from "../survey/language.js";

import { drawMap, worldMap } from "../web/js/map.js";

const { L } = window;
const PLACES = 6;
// A press this near to the line, in pixels, puts a point into it.
const NEAR = 14;
// More signs than this cannot be told apart; such a line is drawn, and changed in the field.
const MOST_SIGNS = 300;
const WORDS = {
  line: {
    begin: gettext("Click the map where the line starts and along its way."),
    point: (index) => gettext("Point {index} of the line", { index }),
  },
  outline: {
    begin: gettext("Click the map at each corner of the area."),
    point: (index) => gettext("Corner {index} of the area", { index }),
  },
};
const UNREADABLE = gettext(
  "The field holds something that is not a point of its own line. It is read when you save.",
);
const METERS = { km: 1000, mi: 1609.344 };

/** Points of the text, or null while some line of it is not a point. */
function read(text) {
  const rows = text
    .split("\n")
    .map((row) => row.trim())
    .filter(Boolean);
  const points = rows.map((row) => {
    const parts = row.replaceAll("−", "-").split(/\s*[;\t]\s*|,\s+|\s+/);
    const both = parts.length === 1 ? row.split(",") : parts;
    const [lat, lng] = both.map((part) => Number(part.replace(",", ".")));
    const isPlace = both.length === 2 && Math.abs(lat) <= 90 && Math.abs(lng) <= 180;
    return isPlace ? L.latLng(lat, lng) : null;
  });
  return points.includes(null) ? null : points;
}

const written = (points) =>
  points.map(({ lat, lng }) => `${lat.toFixed(PLACES)}, ${lng.toFixed(PLACES)}`).join("\n");

/** Where in the line a place belongs: after the end, or into the part it lies on. */
function indexOf(map, points, place, closed) {
  const at = map.latLngToLayerPoint(place);
  let best = { index: points.length, distance: NEAR };
  for (let i = 1; i < points.length + (closed ? 1 : 0); i += 1) {
    const [from, to] = [points[i - 1], points[i % points.length]].map((point) =>
      map.latLngToLayerPoint(point),
    );
    const distance = L.LineUtil.pointToSegmentDistance(at, from, to);
    if (distance < best.distance) best = { index: i, distance };
  }
  return best.index;
}

function lengthIn(map, points, unit, closed) {
  let meters = closed ? map.distance(points.at(-1), points[0]) : 0;
  for (let i = 1; i < points.length; i += 1) meters += map.distance(points[i - 1], points[i]);
  return `${(meters / METERS[unit]).toFixed(1)} ${unit}`;
}

function start(element) {
  const collection = JSON.parse(document.querySelector(element.dataset.geojson).textContent);
  const map = drawMap(element, collection)?.map ?? worldMap(element);
  const field = document.querySelector(element.dataset.points);
  const tools = document.querySelector("[data-line-tools]");
  const status = tools.querySelector("[data-line-status]");
  const unit = element.dataset.units === "mi" ? "mi" : "km";
  const closed = "closed" in element.dataset;
  const say = (points) => {
    status.textContent = words(map, points, unit, closed);
  };
  const line = editableLine(map, closed, (points) => {
    field.value = written(points);
    say(points);
  });

  map.on("click", ({ latlng }) => line.insert(latlng));
  field.addEventListener("change", () => {
    const points = read(field.value);
    if (points) line.show(points);
    if (points) say(points);
    else status.textContent = UNREADABLE;
  });
  const press = (name, action) =>
    tools.querySelector(`[data-line-${name}]`)?.addEventListener("click", action);
  press("back", () => line.change(line.points().slice(0, -1)));
  press("clear", () => line.change([]));
  press("join", () => line.change(stopsOf(collection)));

  tools.hidden = false;
  line.show(read(field.value) ?? []);
  if (closed && line.points().length > 1) map.fitBounds(L.latLngBounds(line.points()));
  say(line.points());
}

/** A line whose points can be moved and taken out; `onChange(points)` is told of both. */
function editableLine(map, closed, onChange) {
  const told = closed ? WORDS.outline : WORDS.line;
  const options = { className: closed ? "program-area" : "route-line", interactive: false };
  const line = (closed ? L.polygon([], options) : L.polyline([], options)).addTo(map);
  const signs = L.layerGroup().addTo(map);
  let points = [];

  function show(next) {
    points = next;
    line.setLatLngs(points);
    signs.clearLayers();
    if (points.length > MOST_SIGNS) return;
    for (const index of points.keys()) signs.addLayer(sign(index));
  }

  function change(next) {
    show(next);
    onChange(points);
  }

  function sign(index) {
    const title = told.point(index + 1);
    const icon = L.divIcon({ className: "line-point", iconSize: [36, 36] });
    const marker = L.marker(points[index], { draggable: true, icon, title, zIndexOffset: 1500 });
    marker.on("add", () => {
      marker.getElement().setAttribute("role", "button");
      marker.getElement().setAttribute("aria-label", title);
      marker.getElement().addEventListener("keydown", (event) => {
        if (!["Delete", "Backspace"].includes(event.key)) return;
        event.preventDefault();
        change(points.toSpliced(index, 1));
        signs.getLayers()[Math.min(index, points.length - 1)]?.getElement().focus();
      });
    });
    marker.on("drag", () => line.setLatLngs(points.with(index, marker.getLatLng())));
    marker.on("dragend", () => change(points.with(index, marker.getLatLng().wrap())));
    return marker;
  }

  const insert = (latlng) => change(points.toSpliced(indexOf(map, points, latlng, closed), 0, latlng.wrap()));
  return { points: () => points, show, change, insert };
}

function words(map, points, unit, closed) {
  if (points.length < (closed ? 3 : 2)) return (closed ? WORDS.outline : WORDS.line).begin;
  const facts = ngettext("{number} point, {length}.", "{number} points, {length}.", points.length, {
    length: lengthIn(map, points, unit, closed),
  });
  if (points.length <= MOST_SIGNS) return facts;
  return `${facts} ${gettext("Too many to move on the map; change them in the field.")}`;
}

function stopsOf({ features }) {
  return features
    .filter(({ properties }) => properties.kind === "stop" && !properties.lines)
    .map(({ geometry }) => L.latLng(geometry.coordinates[1], geometry.coordinates[0]));
}

for (const element of document.querySelectorAll("[data-line-map]")) start(element);
