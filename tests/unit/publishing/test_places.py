"""Places as they leave the house."""

import itertools
import math
import random

import pytest

from surveys.publishing.places import (
    GRID,
    OWN_UNCERTAINTY_M,
    share_place,
)

EARTH_M = 6378137


def test_open_places_are_exact():
    place = share_place(43.0731, -89.4012, 0)
    assert (place.latitude, place.longitude, place.grid_degrees) == (43.0731, -89.4012, None)
    assert place.uncertainty_m == OWN_UNCERTAINTY_M
    assert (place.generalizations, place.withheld) == ("", "")


def test_withheld_places_have_no_coordinates_and_say_so():
    place = share_place(43.0731, -89.4012, 4)
    assert (place.latitude, place.longitude, place.uncertainty_m) == (None, None, None)
    assert "No coordinates" in place.generalizations
    assert "Coordinates" in place.withheld


@pytest.mark.parametrize(
    ("latitude", "longitude", "level", "middle"),
    [
        (43.0731, -89.4012, 1, (43.0735, -89.4015)),
        (43.0731, -89.4012, 2, (43.075, -89.405)),
        (43.0731, -89.4012, 3, (43.05, -89.45)),
        (-0.05, 0.05, 3, (-0.05, 0.05)),
        # Edges belong to the cell north and east of them; the last cell holds its own.
        (43.1, -89.4, 3, (43.15, -89.35)),
        (90.0, 180.0, 3, (89.95, 179.95)),
        (-90.0, -180.0, 3, (-89.95, -179.95)),
        # 0.3 / 0.1 is a little less than 3 in binary numbers.
        (0.3, 0.3, 3, (0.35, 0.35)),
    ],
)
def test_middle_of_the_cell(latitude, longitude, level, middle):
    place = share_place(latitude, longitude, level)
    assert (place.latitude, place.longitude) == middle


@pytest.mark.parametrize("level", [1, 2, 3])
def test_the_stop_lies_in_its_cell_and_within_the_uncertainty(level):
    rng = random.Random(level)
    side = float(GRID[level])
    for _ in range(500):
        latitude, longitude = rng.uniform(-90, 90), rng.uniform(-180, 180)
        place = share_place(latitude, longitude, level)
        assert abs(place.latitude - latitude) <= side / 2 + 1e-9
        assert abs(place.longitude - longitude) <= side / 2 + 1e-9
        assert _distance(latitude, longitude, place) <= place.uncertainty_m


def test_all_places_of_a_cell_look_alike():
    inside = itertools.product((43.0701, 43.0755, 43.0799), (-89.4099, -89.405, -89.4001))
    assert len({share_place(y, x, 2) for y, x in inside}) == 1


def _distance(latitude: float, longitude: float, place) -> float:
    """Great circle on a sphere of the smallest radius of curvature: never too long by much."""
    a, b = math.radians(latitude), math.radians(place.latitude)
    c = math.radians(longitude - place.longitude)
    h = math.sin((a - b) / 2) ** 2 + math.cos(a) * math.cos(b) * math.sin(c / 2) ** 2
    return 2 * EARTH_M * math.asin(math.sqrt(h))
