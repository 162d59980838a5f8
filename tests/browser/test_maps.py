"""Maps in Chromium: the ground that ships, roads of the site's own file, day and night."""

import pytest
from django.urls import reverse
from playwright.sync_api import Page

from tests.browser.conftest import faults_in_every_look, set_theme
from tests.support.builders import make_route, make_version
from tests.support.maps import write_roads

pytestmark = pytest.mark.django_db(transaction=True)

# How many pixels of the ground have the color of a token, as the theme has it.
PIXELS = """token => {
  const map = document.querySelector(".leaflet-container");
  const hex = getComputedStyle(map).getPropertyValue(token).trim();
  const wanted = [1, 3, 5].map((at) => Number.parseInt(hex.slice(at, at + 2), 16));
  let found = 0;
  for (const canvas of map.querySelectorAll(".leaflet-land-pane canvas")) {
    const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
    for (let i = 0; i < data.length; i += 4)
      if (wanted.every((part, k) => Math.abs(data[i + k] - part) < 3)) found += 1;
  }
  return found;
}"""


def wait_for_pixels(page: Page, token: str, least: int) -> None:
    page.wait_for_function(f"([token, least]) => ({PIXELS})(token) >= least", arg=[token, least])


@pytest.fixture
def route(program):
    return make_route(program, version=make_version(program), stops=10, code="R1")


def test_a_route_lies_in_its_county_by_day_and_by_night(
    coordinator, program, route, signed_in, settings, tmp_path
):
    settings.MAP_FILE = write_roads(tmp_path / "own.pmtiles", route)
    page = signed_in(coordinator)
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(reverse("web:program_route", args=[program.slug, route.pk]))
    page.get_by_text("Dane, Wisconsin").wait_for()
    page.get_by_text("Natural Earth, U.S. Census Bureau, Roads of a test").wait_for()
    for theme in ("day", "night"):
        set_theme(page, theme)
        wait_for_pixels(page, "--map-land", 100_000)
        wait_for_pixels(page, "--map-road", 300)
    assert {url.split("/")[2] for url in asked} == {page.url.split("/")[2]}
    page.set_viewport_size({"width": 390, "height": 844})
    scale, credits_ = (
        page.locator(f".leaflet-control-{name}").first.bounding_box()
        for name in ("scale", "attribution")
    )
    assert credits_["x"] > scale["x"] + scale["width"]
    assert faults_in_every_look(page) == []


def test_the_first_stop_of_a_program_is_placed_on_a_map_of_the_world(
    coordinator, program, signed_in, live_server
):
    route = make_route(program, version=make_version(program), stops=0)
    page = signed_in(coordinator)
    page.goto(reverse("web:program_stop_add", args=[program.slug, route.pk]))
    page.locator("[data-ground=drawn]").wait_for()
    page.locator("[data-place-map]").click(position={"x": 200, "y": 100})
    assert abs(float(page.get_by_label("Latitude").input_value())) <= 90
    wait_for_pixels(page, "--map-land", 20_000)
