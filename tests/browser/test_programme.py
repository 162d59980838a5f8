"""Setting a programme up in Chromium: a stop placed on the map, and axe on every screen."""

import pytest
from django.urls import reverse

from accounts.models import Role
from surveys.models import Assignment
from tests.browser.conftest import faults_of
from tests.support.builders import make_checklist, make_member, make_route, make_species

pytestmark = pytest.mark.django_db(transaction=True)


def url(name, programme, **kwargs):
    return reverse(f"web:{name}", kwargs={"programme": programme.slug, **kwargs})


@pytest.fixture
def route(programme, observer):
    route = make_route(programme)
    Assignment.objects.create(route=route, observer=observer.person, season_year=2026)
    make_checklist(programme)
    return route


class TestPlacingAStop:
    @pytest.fixture
    def page(self, programme, coordinator, route, signed_in):
        page = signed_in(coordinator)
        page.goto(url("programme_stop_add", programme, route=route.pk))
        return page

    def test_pressing_on_the_map_fills_the_fields(self, programme, route, page):
        page.get_by_label("Name").fill("By the culvert")
        page.locator("[data-place-map]").click(position={"x": 120, "y": 80})
        latitude = float(page.get_by_label("Latitude").input_value())
        longitude = float(page.get_by_label("Longitude").input_value())
        assert 42.9 < latitude < 43.3
        assert -89.6 < longitude < -89.2
        page.get_by_role("button", name="Save").click()
        page.wait_for_url(f"**{url('programme_route', programme, route=route.pk)}")
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

    def test_without_javascript_the_fields_do_it(self, programme, coordinator, route, signed_in):
        page = signed_in(coordinator, java_script_enabled=False)
        page.goto(url("programme_stop_add", programme, route=route.pk))
        page.get_by_label("Name").fill("By the culvert")
        page.get_by_label("Latitude").fill("43.08")
        page.get_by_label("Longitude").fill("-89.39")
        page.get_by_role("button", name="Save").click()
        assert route.stops.get(number=4).place.y == 43.08


def test_drawing_the_line_of_a_route(programme, coordinator, route, signed_in):
    """Joined, gone on with by a press, shortened by a key, changed in the field, saved."""
    page = signed_in(coordinator)
    page.goto(url("programme_route_line", programme, route=route.pk))
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
    page.wait_for_url(f"**{url('programme_route', programme, route=route.pk)}")
    route.refresh_from_db()
    assert route.line.coords == ((-89.4012, 43.0731), (-89.39, 43.08), (-89.38, 43.09))


def test_axe_finds_nothing(programme, coordinator, route, signed_in):
    make_member(programme, Role.PARTNER, active=False)
    stop, version = route.stops.first().pk, route.protocol.versions.get().pk
    entry, species = programme.checklist.get().pk, make_species("Hyla arborea").code
    screens = {
        "programme": {},
        "programme_facts": {},
        "people": {},
        "people_invite": {},
        "people_person": {"membership": coordinator.pk},
        "programme_assignments": {},
        "programme_routes": {},
        "programme_route_add": {},
        "programme_route": {"route": route.pk},
        "programme_route_line": {"route": route.pk},
        "programme_stop_add": {"route": route.pk},
        "programme_stop": {"stop": stop},
        "programme_stop_close": {"stop": stop},
        "programme_stop_move": {"stop": stop},
        "programme_protocols": {},
        "programme_protocol_begin": {},
        "programme_version": {"version": version},
        "programme_version_next": {"version": version},
        "programme_checklist": {},
        "programme_species_search": {},
        "programme_species_add": {"species": species},
        "programme_entry": {"entry": entry},
        "programme_entry_take_off": {"entry": entry},
    }
    addresses = [url(name, programme, **kwargs) for name, kwargs in screens.items()]
    assert faults_of(signed_in(coordinator), addresses) == {}
