// The ground of a map: coast, countries, states and counties, which ship with Duskpool; roads and water
// of the site's own file, where it has one; or the tiles of another host, which take the place of both.
// The colors come from tokens.css and night.css, and change with the theme.
import { gettext } from "../../survey/language.js";

import { labelRules, paintRules } from "./base-map-rules.js";

const { L } = window;
const PANE = "land";
const LAND_LAST_LEVEL = 6;
const CLOSEST_ZOOM = 18;
// Nearer than this there may be no coast and no border in view.
const OVERVIEW_FROM = 8;

/** Put the ground under a map; `sources` is the dataset of its element ({% map_sources %}). */
export function addBaseMap(map, sources) {
  const credits = L.control.attribution({ position: "bottomright", prefix: false }).addTo(map);
  if (sources.tiles) {
    map.getContainer().classList.add("has-pictures");
    L.tileLayer(sources.tiles, { attribution: sources.tilesAttribution, maxZoom: CLOSEST_ZOOM }).addTo(map);
    return;
  }
  for (const name of ["landAttribution", "ownAttribution"])
    if (sources[name]) credits.addAttribution(escaped(sources[name]));
  const where = whereControl().addTo(map);
  addVectors(map, sources, where).catch(() =>
    where.say(gettext("The map under the stops could not be loaded.")),
  );
}

async function addVectors(map, { land, own, ownLastLevel }, where) {
  const { leafletLayer, ...symbolizers } = await import("../vendor/protomaps-leaflet.mjs");
  await fetch(land, { headers: { Range: "bytes=0-6" } }).then(({ ok }) => {
    if (!ok) throw new Error("no map");
  });
  const sources = { land: { url: land, maxDataZoom: LAND_LAST_LEVEL } };
  if (own) sources.own = { url: own, maxDataZoom: Number(ownLastLevel) };
  const ground = (on, used) => {
    // A pane of its own: by night, pictures become negatives.
    on.createPane(PANE).style.zIndex = 150;
    return leafletLayer({ attribution: "", pane: PANE, sources: used });
  };
  const layer = ground(map, sources);
  const overview = addOverview(map, (small) => ground(small, { land: sources.land }));
  const draw = () => {
    const style = getComputedStyle(map.getContainer());
    for (const one of [layer, overview]) {
      one.paintRules = paintRules(style, symbolizers);
      one.labelRules = one === layer ? labelRules(style, symbolizers) : [];
      one.clearLayout();
      one.rerenderTiles();
    }
  };
  draw();
  layer.on("load", () => {
    map.getContainer().dataset.ground = "drawn";
    where.say(placeInWords(map, layer));
  });
  map.on("moveend", () => where.say(placeInWords(map, layer)));
  layer.addTo(map);
  onThemeChange(draw);
}

/** A small map of the surroundings in the corner, which moves with the large one; its layer. */
function addOverview(map, ground) {
  const control = L.control({ position: "topright" });
  const box = L.DomUtil.create("div", "map-overview");
  box.setAttribute("aria-hidden", "true");
  control.onAdd = () => box;
  control.addTo(map);
  const still = ["boxZoom", "doubleClickZoom", "dragging", "keyboard", "scrollWheelZoom", "touchZoom"];
  const small = L.map(box, {
    ...Object.fromEntries(still.map((name) => [name, false])),
    attributionControl: false,
    fadeAnimation: false,
    zoomAnimation: false,
    zoomControl: false,
  });
  box.removeAttribute("tabindex");
  const here = L.circleMarker([0, 0], { className: "map-overview__here", interactive: false, radius: 4 });
  const follow = () => {
    box.hidden = map.getZoom() < OVERVIEW_FROM;
    if (box.hidden) return;
    small.invalidateSize(false);
    small.setView(map.getCenter(), map.getZoom() > OVERVIEW_FROM + 2 ? 5 : 4, { animate: false });
    here.setLatLng(map.getCenter()).addTo(small);
  };
  const layer = ground(small).addTo(small);
  follow();
  map.on("moveend", follow);
  return layer;
}

/** The smallest areas at the middle of the map: "Taylor, Wisconsin"; empty at sea. */
function placeInWords(map, layer) {
  const { lat, lng } = map.getCenter().wrap();
  const found = layer.queryTileFeaturesDebug(lng, lat).get("land") ?? [];
  const nameIn = (wanted) => found.find(({ layerName }) => layerName === wanted)?.feature.props.name;
  const [county, state, country] = ["counties", "states", "countries"].map(nameIn);
  return (county ? [county, state] : [state, country]).filter(Boolean).join(", ");
}

function whereControl() {
  const control = L.control({ position: "bottomleft" });
  const box = L.DomUtil.create("p", "map-where");
  box.hidden = true;
  control.onAdd = () => box;
  control.say = (words) => {
    box.textContent = words;
    box.hidden = !words;
  };
  return control;
}

function onThemeChange(draw) {
  const night = document.getElementById("night-sheet");
  const observer = new MutationObserver(draw);
  observer.observe(document.documentElement, { attributeFilter: ["data-theme", "data-night"] });
  if (night) observer.observe(night, { attributeFilter: ["media"] });
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
}

function escaped(words) {
  const box = document.createElement("span");
  box.textContent = words;
  return box.innerHTML;
}
