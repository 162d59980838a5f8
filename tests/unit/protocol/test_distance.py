import pytest

from surveys.protocol.distance import (
    EQUATORIAL_RADIUS_M,
    distance_m,
)
from surveys.protocol.values import Place


def place(latitude, longitude):
    return Place(latitude=latitude, longitude=longitude)


def test_no_distance_to_itself():
    assert distance_m(place(45, -90), place(45, -90)) == 0


@pytest.mark.parametrize(
    ("a", "b"),
    [
        (place(45, 179.99), place(45, -179.99)),
        (place(-12, 30), place(-12.4, 29)),
    ],
)
def test_the_same_in_both_directions(a, b):
    assert distance_m(a, b) == pytest.approx(distance_m(b, a), rel=1e-12)


def test_the_date_line_is_no_wall():
    assert distance_m(place(45, 179.995), place(45, -179.995)) == pytest.approx(788.468, abs=0.01)


def test_opposite_sides_of_the_earth():
    """Half the equator is 20037.508 km and half a meridian 20003.931 km, so the longest
    way between two places is half a meridian."""
    half_meridian = 20003931.459
    assert distance_m(place(0, 0), place(0, 180)) == pytest.approx(half_meridian, rel=0.005)
    assert distance_m(place(0, 0), place(0.5, 179.9)) == pytest.approx(half_meridian, rel=0.005)
    assert distance_m(place(0, 0), place(0, 90)) == pytest.approx(EQUATORIAL_RADIUS_M * 1.5707963)
