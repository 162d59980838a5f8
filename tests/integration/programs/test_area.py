"""The area of a program: drawn, typed, from a file; what lies outside."""

import json

import pytest
from django.contrib.gis.geos import LineString, Point
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from accounts.edit_conflicts import EditConflict, Seen
from accounts.models import Role
from surveys.models import ProgramArea
from surveys.programs.area import (
    area_facts,
    area_of,
    draw_area,
    outline_text,
    present_routes_outside,
    take_area_from_file,
)
from surveys.programs.history import HistoryFilters, history
from surveys.protocol.values import Place
from tests.support.builders import make_member, make_program, make_route

pytestmark = pytest.mark.django_db
# The stops of `make_route` lie along 43.0731 north from 89.4012 west, 0.0125 degrees apart.
AROUND = "43.00, -89.50\n43.00, -89.30\n43.20, -89.30\n43.20, -89.50"
WEST_PART = AROUND.replace("-89.30", "-89.395")


def corners(text):
    return [Place(latitude=float(a), longitude=float(b)) for a, b in
            (row.split(",") for row in text.splitlines())]  # fmt: skip


def refusal(member, text):
    with pytest.raises(ValidationError) as refused:
        draw_area(member, points=text)
    return refused.value.message_dict["points"][0]


def test_drawn_changed_and_taken_away(coordinator, program):
    area = draw_area(coordinator, points=AROUND)
    assert outline_text(area) == "\n".join(
        f"{place.latitude:.6f}, {place.longitude:.6f}" for place in corners(AROUND)
    )
    seen = Seen(facts=area_facts(area_of(program)), at=area.saved_at)
    draw_area(coordinator, points=WEST_PART)
    with pytest.raises(EditConflict):
        draw_area(coordinator, points=AROUND, seen=seen)
    assert draw_area(coordinator, points=" ") is None
    assert area_of(program) is None
    entries, _ = history(coordinator, HistoryFilters(kind="area"), size=9)
    assert [entry.act for entry in entries] == ["delete", "update", "insert"]
    # The size of then, not of today.
    assert len({entry.things for entry in entries}) == 2


def test_what_cannot_be_an_area(coordinator, program):
    bow_tie = "43, -89\n44, -88\n44, -89\n43, -88"
    assert refusal(coordinator, bow_tie) == (
        "The outline crosses itself near 43.500000, -88.500000. Move the corners apart there."
    )
    assert "three corners" in refusal(coordinator, "43, -89\n44, -88\n43, -89")
    assert refusal(coordinator, "43, -89\n44, -88\n45, -87")
    assert "not a latitude" in refusal(coordinator, "here\nthere")
    with pytest.raises(ValidationError, match="no area"):
        take_area_from_file(coordinator, [], file_name="stops.gpx")
    ring = [Place(latitude=40 + n / 1e6, longitude=-89) for n in range(20_001)]
    with pytest.raises(ValidationError, match=r"the limit is 20000"):
        take_area_from_file(coordinator, [[ring]], file_name="state.gpkg")
    with pytest.raises(PermissionDenied):
        draw_area(make_member(program), points=AROUND)
    assert not ProgramArea.objects.exists()


def test_routes_outside_are_found_by_stop_and_by_line(coordinator, program):
    assert present_routes_outside(program) == {}
    _, partly, by_line = (
        make_route(program, code=code, stops=stops)
        for code, stops in (("R1", 1), ("R2", 3), ("R3", 1))
    )
    by_line.line = LineString((-89.4012, 43.0731), (-89.3800, 43.0731), srid=4326)
    by_line.save()
    # The area of another program says nothing of this one.
    stranger = make_member(make_program(), Role.COORDINATOR)
    draw_area(stranger, points="10, 10\n10, 11\n11, 11")
    assert present_routes_outside(program) == {}
    draw_area(coordinator, points=WEST_PART)
    found = present_routes_outside(program)
    assert set(found) == {partly.pk, by_line.pk}
    assert (found[partly.pk].outside, found[partly.pk].stops) == (2, 3)
    # 0.0188 and 0.015 degrees of longitude.
    assert found[partly.pk].farthest_m == pytest.approx(1_530, abs=10)
    assert (found[by_line.pk].outside, round(found[by_line.pk].line_m, -1)) == (0, 1_220)


def test_a_hole_and_parts_that_touch(coordinator, program):
    hole = [Place(latitude=lat, longitude=lon) for lat, lon in
            ((43.05, -89.41), (43.05, -89.39), (43.09, -89.39), (43.09, -89.41))]  # fmt: skip
    east = [Place(latitude=lat, longitude=lon) for lat, lon in
            ((43.00, -89.30), (43.00, -89.20), (43.20, -89.20), (43.20, -89.30))]  # fmt: skip
    area = take_area_from_file(coordinator, [[corners(AROUND), hole], [east]], file_name="a.kml")
    assert (len(area.outline), len(area.outline[0])) == (1, 2)
    # It cannot be changed corner by corner.
    assert outline_text(area) == ""
    route = make_route(program, stops=1)
    assert present_routes_outside(program)[route.pk].outside == 1
    route.stops.update(place=Point(-89.25, 43.1, srid=4326))
    assert present_routes_outside(program) == {}


def test_on_the_screen(coordinator, program, client_for):
    make_route(program, code="R2", stops=3)
    client = client_for(coordinator)
    url = reverse("web:program_area", kwargs={"program": program.slug})
    crossing = client.post(url, {"points": "43, -89\n44, -88\n44, -89\n43, -88"})
    assert crossing.status_code == 400
    # What was typed is still there.
    assert "44, -88" in crossing.content.decode()
    square = [[[-89.5, 43.0], [-89.395, 43.0], [-89.395, 43.2], [-89.5, 43.2], [-89.5, 43.0]]]
    files = {
        "area.geojson": {"type": "Polygon", "coordinates": square},
        "stop.geojson": {"type": "Point", "coordinates": [-89, 43]},
    }
    answers = {
        name: client.post(
            url,
            {"from_file": "1", "file": SimpleUploadedFile(name, json.dumps(geojson).encode())},
            follow=True,
        ).content.decode()
        for name, geojson in files.items()
    }
    assert "The area of “area.geojson” is saved." in answers["area.geojson"]
    assert "Route R2: 2 of 3 stops lie outside the program area, up to" in answers["area.geojson"]
    assert "The file contains no area." in answers["stop.geojson"]
    damaged = client.post(url, {"from_file": "1", "file": SimpleUploadedFile("x.zip", b"PK\3\4x")})
    assert damaged.status_code == 400
