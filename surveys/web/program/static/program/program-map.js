// Placing a stop by pressing on the map. The fields for latitude and longitude work by themselves;
// this module fills them in and shows where their numbers lie.
//
// <div data-place-map data-geojson="#id" data-latitude="#id" data-longitude="#id" …> takes the same
// data as a map of map.js. Where nothing is known of the region yet, the map shows the world.
import { gettext } from "../survey/language.js";

import { drawMap, worldMap } from "../web/js/map.js";
import { stopIcon } from "../web/js/signs.js";

const { L } = window;
const PLACES = 6;

function degrees(field) {
  const text = field.value.trim().replace("−", "-").replace(",", ".");
  return text === "" ? Number.NaN : Number(text);
}

function placeIn(latitude, longitude) {
  const place = [degrees(latitude), degrees(longitude)];
  const isPlace = Math.abs(place[0]) <= 90 && Math.abs(place[1]) <= 180;
  return isPlace ? place : null;
}

function start(element) {
  const source = document.querySelector(element.dataset.geojson);
  const latitude = document.querySelector(element.dataset.latitude);
  const longitude = document.querySelector(element.dataset.longitude);
  const map = drawMap(element, source && JSON.parse(source.textContent))?.map ?? worldMap(element);
  if (!latitude || !longitude || latitude.disabled) return;

  const icon = stopIcon({ number: element.dataset.number ?? "+", state: "here" });
  const marker = L.marker([0, 0], {
    draggable: true,
    icon,
    title: gettext("The place typed"),
    zIndexOffset: 2000,
  });
  marker.on("add", () => {
    marker.getElement().setAttribute("role", "button");
    marker.getElement().setAttribute("aria-label", gettext("The place typed"));
  });

  const show = () => {
    const place = placeIn(latitude, longitude);
    if (!place) {
      marker.remove();
      return;
    }
    marker.setLatLng(place).addTo(map);
    if (!map.getBounds().contains(place)) map.setView(place);
  };
  const fill = (latlng) => {
    const place = latlng.wrap();
    latitude.value = place.lat.toFixed(PLACES);
    longitude.value = place.lng.toFixed(PLACES);
    show();
  };

  map.on("click", (event) => fill(event.latlng));
  marker.on("dragend", () => fill(marker.getLatLng()));
  latitude.addEventListener("change", show);
  longitude.addEventListener("change", show);
  show();
}

for (const element of document.querySelectorAll("[data-place-map]")) start(element);
