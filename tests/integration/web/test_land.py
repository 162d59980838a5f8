"""The map files as browsers ask for them."""

import pytest
from django.urls import reverse
from pmtiles.tile import deserialize_header

from surveys.land import around
from surveys.land.around import part_around
from surveys.land.files import land_file
from surveys.programs.places import place_of
from surveys.web.land.sources import base_map
from surveys.web.survey.ground import ground_of
from tests.support.builders import make_route
from tests.support.maps import write_roads

pytestmark = pytest.mark.django_db

HEAD = 127


def test_a_part_of_the_map_is_answered_and_kept_by_its_version(client, coordinator):
    client.force_login(coordinator.person)
    address = base_map()["land"]
    part = client.get(address, headers={"Range": f"bytes=0-{HEAD - 1}"})
    assert part.status_code == 206
    assert part["Content-Range"] == f"bytes 0-{HEAD - 1}/{land_file().size}"
    assert part["Cache-Control"] == "private, max-age=31536000, immutable"
    head = deserialize_header(b"".join(part.streaming_content))
    assert (head["version"], head["max_zoom"]) == (3, 6)
    other = client.get(address.partition("?")[0], headers={"Range": "bytes=0-9"})
    assert other["Cache-Control"] == "private, no-store"
    behind = client.get(address, headers={"Range": f"bytes={land_file().size}-"})
    assert behind.status_code == 416


def test_a_file_of_the_site_is_there_where_it_is_set_and_goes_along(
    client, coordinator, program, tmp_path, settings
):
    client.force_login(coordinator.person)
    assert client.get(reverse("web:map_own")).status_code == 404
    assert "own" not in base_map()
    route = make_route(program, stops=10)
    settings.MAP_FILE = write_roads(tmp_path / "own.pmtiles", route)
    assert client.get(base_map()["own"], headers={"Range": "bytes=0-9"}).status_code == 206
    assert base_map()["own_last_level"] == 12

    land = part_around([place_of(stop.place) for stop in route.stops.all()])
    width, height = land["size"]
    roads = [line for kind, line in land["lines"] if kind == "roads"]
    ends = [point for road in roads for point in (road[0], road[-1])]
    # From edge to edge of the part, through its middle.
    assert min(x for x, _ in ends) < 5
    assert max(x for x, _ in ends) > width - 5
    assert all(abs(y - height / 2) < 40 for _, y in ends)
    assert land["credits"] == ["Natural Earth, U.S. Census Bureau", "Roads of a test"]


def test_a_file_that_is_damaged_in_the_middle_costs_only_its_own_part(program, tmp_path, settings):
    route = make_route(program, stops=10)
    file = settings.MAP_FILE = write_roads(tmp_path / "own.pmtiles", route)
    places = [place_of(stop.place) for stop in route.stops.all()]
    content = file.read_bytes()
    file.write_bytes(content[:-500] + bytes(500))
    land = part_around(places)
    assert land["credits"] == ["Natural Earth, U.S. Census Bureau"]
    assert [name for name, *_ in land["names"]] == ["Dane"]


def test_the_part_is_worked_out_once_and_again_for_other_places_or_another_file(
    program, tmp_path, settings, monkeypatch
):
    route = make_route(program, stops=10)
    places = [place_of(stop.place) for stop in route.stops.all()]
    first = ground_of(places)
    assert first == part_around(places)
    monkeypatch.setattr(around, "part_around", lambda places: {"anew": True})
    assert ground_of(places) == first
    assert ground_of(places[1:]) == {"anew": True}
    settings.MAP_FILE = write_roads(tmp_path / "own.pmtiles", route)
    assert ground_of(places) == {"anew": True}
