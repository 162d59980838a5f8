// Maps: routes and numbered stops, with or without base map tiles.
//
// <div data-map data-geojson="#id" data-label="…" data-tiles="…" data-attribution="…" data-units="km|mi">
// reads a FeatureCollection from the json_script with that id. Its features:
//   LineString  kind "route", name; other: true for a route that is not the subject
//   Point       kind "stop", number, name; index 0-3, "not-reached" or "not-sure" shows a call index
//               instead of the number; state "done", "here", "not-reached" or "finding"; first: true
//               kind "route", name, index: a whole route as one sign, shown instead of the stops
//               while these would lie on top of each other; places: where it may stand, best first
//   all         lines: texts of the popup; url and link: a way on from the popup
// Everything is written as text, never as HTML. Colors come from map.css alone.

const { L } = window;
const STILL = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
const STATES = new Set(["done", "here", "not-reached", "finding"]);
const SIGNS = { "not-reached": "–", "not-sure": "?" };
const INDEX_WORDS = { "not-reached": "not reached", "not-sure": "heard, not sure" };
const CLOSEST = 16;
// Stops nearer to each other than this many pixels cannot be told apart.
const APART = 28;

/** Draw a map in `element`; returns the Leaflet map and the layer of features, or null without data. */
export function drawMap(element, collection) {
  if (!collection?.features?.length) {
    element.textContent = "No places to show on a map yet.";
    return null;
  }
  const map = L.map(element, {
    attributionControl: false,
    fadeAnimation: !STILL,
    markerZoomAnimation: !STILL,
    scrollWheelZoom: false,
    zoomAnimation: !STILL,
    // Tiles are sharp at whole steps only; without them the map fits its frame.
    zoomSnap: element.dataset.tiles ? 1 : 0.25,
  });
  addTiles(map, element.dataset);
  L.control
    .scale({ imperial: element.dataset.units === "mi", metric: element.dataset.units !== "mi" })
    .addTo(map);
  const options = { onEachFeature: describe, pointToLayer: marker, style: lineStyle };
  const layer = L.geoJSON(collection, { ...options, filter: (feature) => !isRouteSign(feature) });
  layer.addTo(map);
  fit(map, layer);
  const signs = L.geoJSON(collection, { ...options, filter: isRouteSign });
  if (signs.getLayers().length) showByZoom(map, layer, signs);
  closeByKey([...layer.getLayers(), ...signs.getLayers()], element);
  element.setAttribute("role", "group");
  element.setAttribute("aria-label", element.dataset.label ?? "Map");
  return { map, layer };
}

function isRouteSign({ geometry, properties }) {
  return geometry.type === "Point" && properties.kind === "route";
}

/** From afar one sign a route, from near its stops. */
function showByZoom(map, layer, signs) {
  const stops = layer.getLayers().filter((one) => one instanceof L.Marker);
  const gaps = () =>
    stops
      .slice(1)
      .map((stop, i) => map.project(stop.getLatLng()).distanceTo(map.project(stops[i].getLatLng())))
      .sort((one, other) => one - other);
  const show = () => {
    const far = stops.length > 1 && gaps()[Math.floor((stops.length - 1) / 4)] < APART;
    for (const stop of stops) far ? stop.remove() : stop.addTo(map);
    if (far) spread(map, signs.addTo(map));
    else signs.remove();
  };
  map.on("zoomend", show);
  show();
}

/** Put each sign on the first of its places that no other sign covers. */
function spread(map, signs) {
  const taken = [];
  signs.eachLayer((sign) => {
    const places = sign.feature.properties.places.map(([lng, lat]) => L.latLng(lat, lng));
    const isFree = (place) => taken.every((other) => other.distanceTo(map.project(place)) > APART);
    sign.setLatLng(places.find(isFree) ?? places[0]);
    taken.push(map.project(sign.getLatLng()));
  });
}

/** Show the whole layer; a single stop is not shown closer than a few streets. */
export function fit(map, layer) {
  map.fitBounds(layer.getBounds(), { animate: false, maxZoom: CLOSEST - 2, padding: [28, 28] });
}

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

/** A popup as a list of texts, with a link where there is somewhere to go. */
export function popup({ title, lines = [], url, link }) {
  const box = document.createElement("div");
  const head = document.createElement("strong");
  head.textContent = title;
  box.append(head);
  for (const line of lines) {
    const row = document.createElement("div");
    row.textContent = line;
    box.append(row);
  }
  if (url) {
    const way = document.createElement("a");
    way.href = url;
    way.textContent = link ?? "Open";
    box.append(way);
  }
  return box;
}

function titleOf({ kind, number, name, index }) {
  const heard = index === undefined ? "" : `, ${INDEX_WORDS[index] ?? `call index ${index}`}`;
  if (kind !== "stop") return `${name ?? "Route"}${heard}`;
  return `Stop ${number}${name ? `: ${name}` : ""}${heard}`;
}

function marker(feature, place) {
  const title = titleOf(feature.properties);
  return L.marker(place, {
    alt: title,
    icon: stopIcon(feature.properties),
    keyboard: true,
    title,
    // Where stops lie on top of each other, the strongest call is seen.
    zIndexOffset: 1000 * (Number(feature.properties.index) || 0),
  });
}

function lineStyle({ properties }) {
  return { className: properties.other ? "route-line route-line--other" : "route-line" };
}

function describe(feature, layer) {
  const title = titleOf(feature.properties);
  layer.bindPopup(() => popup({ title, ...feature.properties }), { autoPan: !STILL, maxWidth: 260 });
  if (!(layer instanceof L.Marker)) return;
  // Leaflet makes markers focusable; they must also say what they are, and give the focus back.
  layer.on("add", () => {
    const element = layer.getElement();
    element.setAttribute("role", "button");
    element.setAttribute("aria-label", title);
  });
  layer.on("popupopen", ({ popup: opened }) => {
    if (document.activeElement === layer.getElement()) opened.getElement().querySelector("a")?.focus();
  });
}

/** Escape closes the open popup and gives the focus back to its sign. */
function closeByKey(layers, element) {
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

function addTiles(map, { tiles, attribution }) {
  if (!tiles) return;
  L.control.attribution({ prefix: false }).addTo(map);
  L.tileLayer(tiles, { attribution, maxZoom: CLOSEST + 2 }).addTo(map);
}

for (const element of document.querySelectorAll("[data-map]")) {
  const source = document.querySelector(element.dataset.geojson);
  drawMap(element, source && JSON.parse(source.textContent));
}
