// Drawing the line of a route. The text field works by itself: one point a line, latitude and
// longitude. This module shows the points on the map and writes what is drawn back into the field.
//
// <div data-line-map data-geojson="#id" data-points="#id" …> takes the same data as a map of map.js.

import { drawMap } from "./map.js";

const { L } = window;
const PLACES = 6;
// A press this near to the line, in pixels, puts a point into it.
const NEAR = 14;
// More signs than this cannot be told apart; such a line is drawn, and changed in the field.
const MOST_SIGNS = 300;
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
function indexOf(map, points, place) {
  const at = map.latLngToLayerPoint(place);
  let best = { index: points.length, distance: NEAR };
  for (let i = 1; i < points.length; i += 1) {
    const [from, to] = [points[i - 1], points[i]].map((point) => map.latLngToLayerPoint(point));
    const distance = L.LineUtil.pointToSegmentDistance(at, from, to);
    if (distance < best.distance) best = { index: i, distance };
  }
  return best.index;
}

function lengthIn(map, points, unit) {
  let meters = 0;
  for (let i = 1; i < points.length; i += 1) meters += map.distance(points[i - 1], points[i]);
  return `${(meters / METERS[unit]).toFixed(1)} ${unit}`;
}

function start(element) {
  const collection = JSON.parse(document.querySelector(element.dataset.geojson).textContent);
  const field = document.querySelector(element.dataset.points);
  const tools = document.querySelector("[data-line-tools]");
  const map = drawMap(element, collection)?.map;
  if (!map) return;
  const status = tools.querySelector("[data-line-status]");
  const unit = element.dataset.units === "mi" ? "mi" : "km";
  const line = L.polyline([], { className: "route-line", interactive: false }).addTo(map);
  const signs = L.layerGroup().addTo(map);
  let points = [];

  const say = () => {
    const few = points.length < 2 ? "Press on the map where the line begins and where it goes." : "";
    const many = points.length > MOST_SIGNS ? " Too many to move on the map; change them in the field." : "";
    status.textContent = few || `${points.length} points, ${lengthIn(map, points, unit)}.${many}`;
  };
  const draw = () => {
    line.setLatLngs(points);
    signs.clearLayers();
    if (points.length <= MOST_SIGNS) points.forEach((_, index) => signs.addLayer(sign(index)));
    say();
  };
  const change = (next) => {
    points = next;
    field.value = written(points);
    draw();
  };
  const sign = (index) => {
    const title = `Point ${index + 1} of the line`;
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
  };

  map.on("click", ({ latlng }) => change(points.toSpliced(indexOf(map, points, latlng), 0, latlng.wrap())));
  field.addEventListener("change", () => {
    const typed = read(field.value);
    if (!typed) {
      status.textContent =
        "The field holds something that is not a point of its own line. It is read when you save.";
      return;
    }
    points = typed;
    draw();
  });
  tools.querySelector("[data-line-back]").addEventListener("click", () => change(points.slice(0, -1)));
  tools.querySelector("[data-line-clear]").addEventListener("click", () => change([]));
  tools.querySelector("[data-line-join]").addEventListener("click", () => {
    const stops = collection.features.filter(
      ({ properties }) => properties.kind === "stop" && !properties.lines,
    );
    change(stops.map(({ geometry }) => L.latLng(geometry.coordinates[1], geometry.coordinates[0])));
  });

  tools.hidden = false;
  points = read(field.value) ?? [];
  draw();
}

for (const element of document.querySelectorAll("[data-line-map]")) start(element);
