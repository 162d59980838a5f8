"""The part of the map that a phone takes along."""

import json
from itertools import pairwise

from surveys.land.around import MOST_BYTES, part_around
from surveys.protocol.values import Place


def kinds(part: dict) -> set[str]:
    return {kind for kind, _ in part["lines"]}


def at(latitude: float, longitude: float) -> dict:
    """The part around two places, 12 km apart."""
    return part_around(
        [
            Place(latitude=latitude, longitude=longitude),
            Place(latitude=latitude, longitude=longitude + 0.15),
        ]
    )


def test_without_places_there_is_no_part():
    assert part_around([]) is None


def test_inland_there_is_land_everywhere_and_the_borders_of_counties():
    part = at(45.05, -90.6)
    width, height = part["size"]
    (ring,) = part["land"]
    assert {tuple(point) for point in ring} >= {(0, 0), (width, 0), (width, height), (0, height)}
    assert kinds(part) == {"counties"}
    assert {name for name, *_ in part["names"]} == {"Clark", "Taylor"}
    assert part["credits"] == ["Natural Earth, U.S. Census Bureau"]


def test_at_the_coast_land_ends():
    """Acadia: water on both sides of the peninsula."""
    part = at(44.35, -68.2)
    width, height = part["size"]
    assert kinds(part) == {"countries", "states", "counties"}
    corners = {(0, 0), (width, 0), (width, height), (0, height)}
    assert not {tuple(point) for ring in part["land"] for point in ring} >= corners
    assert at(0, -30)["land"] == []


def test_no_line_is_drawn_where_two_tiles_meet():
    """A tile of level 6 ends at 106.875° W (13 × 5.625° from 180° W), where no border runs."""
    for latitude in (36.3, 40.3, 44.3):
        part = at(latitude, -106.875 - 0.075)
        seam = part["size"][0] / 2
        drawn = [
            (kind, start, end)
            for kind, line in part["lines"]
            for start, end in pairwise(line)
            if all(abs(x - seam) < 3 for x, _ in (start, end)) and abs(start[1] - end[1]) > 200
        ]
        assert drawn == []


def test_neighbors_of_one_name_in_two_states_stay_two():
    """Escambia in Alabama and Escambia in Florida."""
    names = [name for name, *_ in at(31.0, -87.35)["names"]]
    assert names.count("Escambia") == 2


def test_a_part_is_never_larger_than_said(monkeypatch):
    whole = at(44.35, -68.2)
    assert len(json.dumps(whole)) < MOST_BYTES / 20
    monkeypatch.setattr("surveys.land.around.MOST_BYTES", 500)
    cut = at(44.35, -68.2)
    assert len(json.dumps(cut, separators=(",", ":"))) <= 500
    assert len(cut["lines"]) < len(whole["lines"])
