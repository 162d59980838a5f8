"""Setting a program up in Chromium: a stop placed on the map, and axe on every screen."""

import pytest
from django.urls import reverse

from accounts.models import Role
from surveys.demo.catalog import load_species
from surveys.models import Assignment, CallingRegion
from tests.browser.conftest import faults_in_every_look, faults_of
from tests.support.builders import (
    make_checklist,
    make_member,
    make_own_species,
    make_route,
    make_species,
)
from tests.support.sheets import make_submitted

pytestmark = pytest.mark.django_db(transaction=True)


def url(name, program, **kwargs):
    return reverse(f"web:{name}", kwargs={"program": program.slug, **kwargs})


@pytest.fixture
def route(program, observer):
    route = make_route(program)
    Assignment.objects.create(route=route, observer=observer.person, season_year=2026)
    make_checklist(program)
    return route


class TestPlacingAStop:
    @pytest.fixture
    def page(self, program, coordinator, route, signed_in):
        page = signed_in(coordinator)
        page.goto(url("program_stop_add", program, route=route.pk))
        return page

    def test_pressing_on_the_map_fills_the_fields(self, program, route, page):
        page.get_by_label("Name").fill("By the culvert")
        page.locator("[data-place-map]").click(position={"x": 120, "y": 80})
        latitude = float(page.get_by_label("Latitude").input_value())
        longitude = float(page.get_by_label("Longitude").input_value())
        assert 42.9 < latitude < 43.3
        assert -89.6 < longitude < -89.2
        page.get_by_role("button", name="Save").click()
        page.wait_for_url(f"**{url('program_route', program, route=route.pk)}")
        stop = route.stops.get(number=4)
        assert stop.place.y == pytest.approx(latitude, abs=1e-6)
        assert stop.place.x == pytest.approx(longitude, abs=1e-6)

    def test_typing_shows_the_place_on_the_map(self, page):
        marker = page.get_by_role("button", name="The place typed")
        assert marker.count() == 0
        page.get_by_label("Latitude").fill("43.08")
        page.get_by_label("Longitude").fill("−89,39")
        page.get_by_label("Longitude").press("Tab")
        marker.wait_for()
        page.get_by_label("Latitude").fill("143.08")
        page.get_by_label("Latitude").press("Tab")
        assert marker.count() == 0

    def test_without_javascript_the_fields_do_it(self, program, coordinator, route, signed_in):
        page = signed_in(coordinator, java_script_enabled=False)
        page.goto(url("program_stop_add", program, route=route.pk))
        page.get_by_label("Name").fill("By the culvert")
        page.get_by_label("Latitude").fill("43.08")
        page.get_by_label("Longitude").fill("-89.39")
        page.get_by_role("button", name="Save").click()
        assert route.stops.get(number=4).place.y == 43.08


def test_drawing_the_line_of_a_route(program, coordinator, route, signed_in):
    """Joined, gone on with by a press, shortened by a key, changed in the field, saved."""
    page = signed_in(coordinator)
    page.goto(url("program_route_line", program, route=route.pk))
    field, points = page.get_by_label("Points of the line"), page.locator(".line-point")
    page.get_by_role("button", name="Join the stops").click()
    stops = route.stops.count()
    assert points.count() == stops
    page.locator("[data-line-map]").click(position={"x": 30, "y": 200})
    assert points.count() == stops + 1
    assert len(field.input_value().splitlines()) == stops + 1
    points.nth(0).press("Delete")
    assert points.count() == stops
    field.fill("43.0731, -89.4012\n43.0800, -89.3900\n43.0900, -89.3800")
    field.press("Tab")
    assert points.count() == 3
    assert "3 points, " in page.get_by_text("points, ").inner_text()
    page.get_by_role("button", name="Save").click()
    page.wait_for_url(f"**{url('program_route', program, route=route.pk)}")
    route.refresh_from_db()
    assert route.line.coords == ((-89.4012, 43.0731), (-89.39, 43.08), (-89.38, 43.09))


def test_drawing_the_area_and_asking_what_if(program, coordinator, route, signed_in):
    page = signed_in(coordinator)
    page.goto(url("program_area", program))
    field, corners = page.get_by_label("Corners of the area"), page.locator(".line-point")
    box = page.locator("[data-line-map]").bounding_box()
    # Around the western half of the map, so that not all the stops lie inside.
    for x, y in ((0.2, 0.9), (0.2, 0.1), (0.5, 0.1), (0.5, 0.9)):
        spot = {"x": x * box["width"], "y": y * box["height"]}
        page.locator("[data-line-map]").click(position=spot)
    assert corners.count() == 4
    # On a side: into it. Then out again by a key.
    page.locator("[data-line-map]").click(
        position={"x": 0.2 * box["width"], "y": 0.5 * box["height"]}
    )
    west = [float(row.split(", ")[1]) for row in field.input_value().splitlines()]
    assert west[0] == west[1] == west[2]
    corners.nth(1).press("Delete")
    assert corners.count() == 4
    page.get_by_role("button", name="Save").click()
    page.get_by_text("The program area is saved.").wait_for()
    assert len(program.area.outline[0][0]) == 5
    assert corners.count() == 4
    assert faults_in_every_look(page) == []
    make_submitted(coordinator, route)
    version = route.protocol.versions.get()
    page.goto(url("program_version_next", program, version=version.pk))
    page.get_by_label("Listening time", exact=True).fill("6")
    page.get_by_role("button", name="What would it have asked last season?").click()
    page.get_by_text("1 visit", exact=True).click()
    page.get_by_role("link", name=f"{route.code}, ").wait_for()
    assert faults_in_every_look(page) == []


def test_axe_finds_nothing_on_the_species_of_the_region_and_in_the_guide(
    program, coordinator, signed_in
):
    load_species()
    program.calling_region = CallingRegion.objects.get(code="hawaii")
    program.save()
    region = program.calling_region.code
    addresses = [
        url("program_checklist_table", program),
        url("program_species_add", program, species="eleutherodactylus-coqui"),
        reverse("web:guide_species"),
        reverse("web:guide_species_in_region", kwargs={"region": region}),
    ]
    assert faults_of(signed_in(coordinator), addresses) == {}


def test_axe_finds_nothing(program, coordinator, route, signed_in):
    make_member(program, Role.PARTNER, active=False)
    stop, version = route.stops.first().pk, route.protocol.versions.get().pk
    entry, species = program.checklist.get().pk, make_species("Hyla arborea").code
    screens = {
        "program": {},
        "program_facts": {},
        "people": {},
        "people_invite": {},
        "security_log": {},
        "call_test": {},
        "call_test_set": {},
        "call_test_results": {},
        "people_person": {"membership": coordinator.pk},
        "program_assignments": {},
        "program_routes": {},
        "program_area": {},
        "program_regions": {},
        "program_strata": {},
        "program_route_add": {},
        "program_route": {"route": route.pk},
        "program_route_line": {"route": route.pk},
        "program_stop_add": {"route": route.pk},
        "program_stop": {"stop": stop},
        "program_stop_close": {"stop": stop},
        "program_stop_move": {"stop": stop},
        "program_protocols": {},
        "program_protocol_begin": {},
        "program_versions_compared": {},
        "program_version": {"version": version},
        "program_version_next": {"version": version},
        "program_checklist": {},
        "program_species_search": {},
        "program_own_species_add": {},
        "program_own_species": {"own_species": make_own_species(program).code},
        "program_species_add": {"species": species},
        "program_entry": {"entry": entry},
        "program_entry_take_off": {"entry": entry},
    }
    addresses = [url(name, program, **kwargs) for name, kwargs in screens.items()]
    assert faults_of(signed_in(coordinator), addresses) == {}
