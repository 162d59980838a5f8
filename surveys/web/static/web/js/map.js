// Maps: routes and numbered stops on their ground (base-map.js).
//
// <div data-map data-geojson="#id" data-label="…" data-units="km|mi" …> with the sources of the ground
// ({% map_sources %}) reads a FeatureCollection from the json_script with that id. Its features:
//   LineString  kind "route", name; other: true for a route that is not the subject
//   Point       kind "stop", number, name; index 0-3, "not-reached" or "not-sure" shows a call index
//               instead of the number; state "done", "here", "not-reached" or "finding"; first: true
//               kind "route", name, index: a whole route as one sign, shown instead of the stops
//               while these would lie on top of each other; places: where it may stand, best first
//   MultiPolygon  kind "area": the area of the program, below everything else
//   all         lines: texts of the popup; url and link: a way on from the popup
import { gettext } from "../../survey/language.js";

import { addBaseMap } from "./base-map.js";
import { describe, markerOf } from "./signs.js";

const { L } = window;
const REDUCED_MOTION = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
const CLOSEST_ZOOM = 16;
// Signs nearer to each other than this many pixels overlap.
const MIN_DISTANCE = 28;

L.Control.Zoom.mergeOptions({ zoomInTitle: gettext("Zoom in"), zoomOutTitle: gettext("Zoom out") });

/** A map of the ground in `element`, in place of the words for those without scripts. */
function groundMap(element) {
  element.textContent = "";
  element.setAttribute("role", "group");
  element.setAttribute("aria-label", element.dataset.label ?? gettext("Map"));
  const map = L.map(element, {
    attributionControl: false,
    fadeAnimation: !REDUCED_MOTION,
    markerZoomAnimation: !REDUCED_MOTION,
    scrollWheelZoom: false,
    zoomAnimation: !REDUCED_MOTION,
  });
  L.control
    .scale({ imperial: element.dataset.units === "mi", metric: element.dataset.units !== "mi" })
    .addTo(map);
  addBaseMap(map, element.dataset);
  return map;
}

/** The world, where nothing is known of the region yet. */
export const worldMap = (element) => groundMap(element).setView([20, 0], 2);

/** Draw a map in `element`; returns the Leaflet map and the layer of features, or null without data. */
export function drawMap(element, collection) {
  if (!collection?.features?.length) return null;
  const map = groundMap(element);
  const options = {
    onEachFeature: (feature, layer) => describe(feature, layer, { autoPan: !REDUCED_MOTION }),
    pointToLayer: markerOf,
    style: lineStyle,
  };
  const layer = L.geoJSON(collection, {
    ...options,
    filter: (feature) => !isRouteSign(feature) && !isArea(feature),
  });
  const area = L.geoJSON(collection, {
    filter: isArea,
    interactive: false,
    style: { className: "program-area" },
  });
  area.addTo(map);
  layer.addTo(map);
  fit(map, layer.getLayers().length ? layer : area);
  const routeSigns = L.geoJSON(collection, { ...options, filter: isRouteSign });
  if (routeSigns.getLayers().length) switchByZoom(map, layer, routeSigns);
  closeOnEscape([...layer.getLayers(), ...routeSigns.getLayers()], element);
  return { map, layer };
}

const isArea = ({ properties }) => properties.kind === "area";

function isRouteSign({ geometry, properties }) {
  return geometry.type === "Point" && properties.kind === "route";
}

/** From afar one sign a route, from near its stops. */
function switchByZoom(map, layer, routeSigns) {
  const stops = layer.getLayers().filter((feature) => feature instanceof L.Marker);
  const show = () => {
    const overlap = doOverlap(map, stops);
    for (const stop of stops) overlap ? stop.remove() : stop.addTo(map);
    if (overlap) spreadSigns(map, routeSigns.addTo(map));
    else routeSigns.remove();
  };
  map.on("zoomend", show);
  show();
}

/** Whether a quarter of the neighboring stops cover each other. */
function doOverlap(map, stops) {
  const points = stops.map((stop) => map.project(stop.getLatLng()));
  const distances = points.slice(1).map((point, i) => point.distanceTo(points[i]));
  distances.sort((a, b) => a - b);
  return stops.length > 1 && distances[Math.floor((stops.length - 1) / 4)] < MIN_DISTANCE;
}

/** Put each sign on the first of its places that no other sign covers. */
function spreadSigns(map, signs) {
  const occupied = [];
  signs.eachLayer((sign) => {
    const places = sign.feature.properties.places.map(([lng, lat]) => L.latLng(lat, lng));
    const isFree = (place) => occupied.every((point) => point.distanceTo(map.project(place)) > MIN_DISTANCE);
    sign.setLatLng(places.find(isFree) ?? places[0]);
    occupied.push(map.project(sign.getLatLng()));
  });
}

/** Show the whole layer; a single stop is not shown closer than a few streets. */
function fit(map, layer) {
  map.fitBounds(layer.getBounds(), { animate: false, maxZoom: CLOSEST_ZOOM - 2, padding: [28, 28] });
}

function lineStyle({ properties }) {
  return { className: properties.other ? "route-line route-line--other" : "route-line" };
}

/** Escape closes the open popup and gives the focus back to its sign. */
function closeOnEscape(layers, element) {
  let opener = null;
  for (const layer of layers)
    layer.on("popupopen", (event) => {
      opener = event.sourceTarget;
    });
  element.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !opener?.isPopupOpen()) return;
    const isInside = opener.getPopup().getElement().contains(document.activeElement);
    opener.closePopup();
    if (isInside) opener.getElement()?.focus();
  });
}

for (const element of document.querySelectorAll("[data-map]")) {
  const source = document.querySelector(element.dataset.geojson);
  drawMap(element, source && JSON.parse(source.textContent));
}
