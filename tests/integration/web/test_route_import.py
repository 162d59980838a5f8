"""The screens on which routes are brought in from a file."""

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from accounts.models import Role
from surveys.models import RouteImport, Stop
from tests.support import places
from tests.support.builders import (
    make_accepted_visit,
    make_member,
    make_program,
    make_route,
    make_version,
)
from tests.support.places import points_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def program():
    program = make_program()
    make_version(program, min_stop_spacing_m=500.0)
    return program


@pytest.fixture
def page(program, client):
    client.force_login(make_member(program, Role.COORDINATOR).person)
    return client


def upload(page, program, content: bytes, name: str = "routes.csv"):
    address = reverse("web:route_import_start", args=[program.slug])
    return page.post(address, {"file": SimpleUploadedFile(name, content)}, follow=True)


def url(name: str, program, *more: object) -> str:
    return reverse(
        f"web:route_import{name}", args=[program.slug, RouteImport.objects.get().pk, *more]
    )


def text(response) -> str:
    return " ".join(response.content.decode().split())


def test_from_the_empty_list_to_routes_and_back(program, page):
    """The whole way in as many clicks as there are requests here."""
    empty = text(page.get(reverse("web:program_routes", args=[program.slug])))
    assert reverse("web:route_import_start", args=[program.slug]) in empty
    assert "importing-routes" in text(
        page.get(reverse("web:route_import_start", args=[program.slug]))
    )
    seen = upload(page, program, places.csv(points_of(120, 10)))
    assert "Ready to import" in text(seen)
    drawn = json.loads(json.dumps(seen.context["map_data"]))["features"]
    assert sum(feature["geometry"]["type"] == "Point" for feature in drawn) == 1_320
    done = page.post(url("_commit", program), follow=True)
    assert "Added: 120 routes and 1,200 stops. To routes that were here: 0 changes." in text(done)
    assert Stop.objects.filter(route__program=program).count() == 1_200
    undone = page.post(url("_undo", program), follow=True)
    assert "was undone on" in text(undone)
    assert not program.routes.exists()


def test_strata_of_a_layer_come_to_routes_that_are_there_and_go_again(program, page):
    points = points_of(2, 10)
    upload(page, program, places.csv(points))
    page.post(url("_commit", program), follow=True)
    RouteImport.objects.all().delete()
    layer = json.loads(places.geojson(points))
    for feature in layer["features"]:
        feature["properties"]["Stratum"] = f"Stratum {feature['properties']['route']}"
    upload(page, program, json.dumps(layer).encode(), "strata.geojson")
    page.post(url("_commit", program), follow=True)
    strata = dict(program.routes.values_list("code", "stratum"))
    assert strata == {code: f"Stratum {code}" for code in strata}
    page.post(url("_undo", program), follow=True)
    assert set(program.routes.values_list("stratum", flat=True)) == {""}


def test_without_a_protocol_it_leads_there(client):
    bare = make_program()
    client.force_login(make_member(bare, Role.COORDINATOR).person)
    answer = client.get(reverse("web:route_import_start", args=[bare.slug]), follow=True)
    assert "Set up a protocol first" in text(answer)


def test_a_file_that_cannot_be_read_is_said_at_the_field(program, page):
    refused = upload(page, program, b"<html/>", "routes.gpx")
    assert refused.status_code == 400
    assert "not GPX or KML" in text(refused)
    assert not RouteImport.objects.exists()


def test_a_file_with_areas_alone_says_so(program, page):
    ring = [[-89.4, 43.0], [-89.3, 43.1], [-89.3, 43.0], [-89.4, 43.1], [-89.4, 43.0]]
    area = {"type": "Polygon", "coordinates": [ring]}
    seen = upload(page, program, json.dumps(area).encode(), "area.geojson")
    assert "The file has no stops and no lines" in text(seen)
    assert "all routes and stops of the file are here already" not in text(seen)


def test_unknown_columns_are_asked_for(program, page):
    asked = upload(page, program, b"a,b,c,d\nR1,1,43.1,-89.4\n")
    assert "No columns are read as latitude and longitude" in text(asked)
    codes = ["route", "stop", "latitude", "longitude"]
    chosen = {f"column_{position}": code for position, code in enumerate(codes)}
    assert "Ready to import" in text(page.post(url("_columns", program), chosen, follow=True))


def test_a_missing_minus_is_mended_for_all_at_once(program, page):
    make_route(program, code="X1")
    content = places.csv().replace(b",-89", b",89")
    assert "6 problems to fix" in text(upload(page, program, content))
    mended = page.post(url("_all", program), {"change": "longitudes"}, follow=True)
    assert "Ready to import" in text(mended)


def test_one_stop_is_mended_in_place_and_nothing_typed_is_lost(program, page):
    shown = upload(page, program, places.csv().replace(b",2,Mill", b",two,Mill", 1))
    assert "“two” is not the number of a stop" in text(shown)
    form = page.get(url("_route", program, 0)).context["form"]
    typed = {name: form[name].value() or "" for name in form.fields}
    typed |= {
        "left_out": "",
        "name": "Mill Road Loop",
        "stop_1_number": "2",
        "stop_1_road": "CR 12",
    }
    typed = {name: value for name, value in typed.items() if value is not False}
    late = {**typed, "revision": 99}
    kept = text(page.post(url("_route", program, 0), late))
    assert "Someone changed this import" in kept
    assert "Mill Road Loop" in kept
    assert "Ready to import" in text(page.post(url("_route", program, 0), typed, follow=True))
    page.post(url("_commit", program))
    stop = Stop.objects.get(route__program=program, route__code="R01", number=2)
    assert (stop.road, stop.route.name) == ("CR 12", "Mill Road Loop")


def test_routes_with_problems_can_be_skipped(program, page):
    upload(page, program, places.csv().replace(b"R02,1", b"R02,x"))
    left = page.post(url("_all", program), {"change": "skip"}, follow=True)
    assert "Ready to import" in text(left)
    page.post(url("_commit", program))
    assert [route.code for route in program.routes.all()] == ["R01"]


def test_stops_that_lie_elsewhere_are_asked_about(program, page):
    route = make_route(program, code="R01")
    make_accepted_visit(route, make_member(program).person)
    content = places.csv(places.POINTS[:3]).replace(b"43.0731000", b"43.0801000", 1)
    shown = upload(page, program, content)
    assert "Stop 1 of R01 is 778 m from its present location" in text(shown)
    options = {
        "protocol": route.protocol_id,
        "first_night": "2024-04-01",
        "chosen": "random",
        "elsewhere": "correct",
        "reason": "Swapped digits",
    }
    wrong = page.post(url("_options", program), options | {"first_night": "May"})
    assert "“May” is not a date" in text(wrong)
    assert "Swapped digits" in text(wrong)
    assert "Ready to import" in text(page.post(url("_options", program), options, follow=True))
    page.post(url("_commit", program))
    assert "Swapped digits" in route.stops.get(number=1).notes


def test_a_file_that_was_imported_before_is_said(program, page):
    upload(page, program, places.csv())
    page.post(url("_commit", program))
    again = upload(page, program, places.csv())
    assert "This file was already imported on" in text(again)
    assert "all routes and stops of the file are here already" in text(again)


def test_stops_are_proposed_along_lines_of_the_file(program, page):
    """5 km of road, 500 m from stop to stop."""
    line = {"type": "LineString", "coordinates": [[-89.4, 43.0], [-89.4, 43.045]]}
    feature = {"type": "Feature", "properties": {"route": "R5"}, "geometry": line}
    assert "1 route has a line and no stops." in text(
        upload(page, program, json.dumps(feature).encode())
    )
    proposed = page.post(url("_all", program), {"change": "propose"}, follow=True)
    assert "Ready to import" in text(proposed)
    assert "no stops" not in text(proposed)
    page.post(url("_commit", program))
    stops = Stop.objects.filter(route__program=program, route__code="R5")
    assert [stop.number for stop in stops.order_by("number")] == list(range(1, 11))
    assert program.routes.get().line is not None


def test_discarding(program, page):
    upload(page, program, places.csv())
    assert "nothing was imported" in text(page.post(url("_discard", program), follow=True))
    assert not RouteImport.objects.exists()
    assert not program.routes.exists()


def test_the_location_of_a_surveyed_stop_is_corrected(program, page):
    route = make_route(program)
    make_accepted_visit(route, make_member(program).person)
    stop = route.stops.get(number=1)
    address = reverse("web:program_stop_correct", args=[program.slug, stop.pk])
    stop_page = page.get(reverse("web:program_stop", args=[program.slug, stop.pk]))
    assert address in text(stop_page)
    form = page.get(address).context["form"]
    typed = {"latitude": "43° 04.8′ N", "longitude": "89° 24.072′ W", "seen": form.seen_text}
    assert "reason" in page.post(address, typed | {"reason": ""}).context["form"].errors
    far = page.post(address, typed | {"longitude": "89.4", "reason": "Digits"})
    assert "Is the minus sign of the longitude missing" in text(far)
    page.post(address, typed | {"reason": "Digits"})
    stop.refresh_from_db()
    assert (stop.place.y, stop.place.x) == pytest.approx((43.08, -89.4012))
    assert stop.periods.count() == 1
    assert stop.events.filter(pgh_label="update").count() == 1
    assert "Digits" in stop.notes
