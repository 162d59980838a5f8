"""Our distance on WGS84 against published geodesics.

Stated tolerance of the formula: 5 parts in a million.
"""

import pytest

from surveys.protocol.distance import distance_m
from surveys.protocol.values import Place

TOLERANCE = 5e-6


def degrees(whole, minutes, seconds):
    return whole + minutes / 60 + seconds / 3600


@pytest.mark.parametrize(
    ("a", "b", "meters"),
    [
        # Karney 2013, J. Geod. 87:43-55: from 40 N 0 E, azimuth 30°, 10 000 km
        ((40, 0), (41.79331020506, 137.84490004377), 10_000_000),
        # GRS80 test line (differs from WGS84 in the eighth digit of the flattening only)
        (
            (-degrees(37, 57, 3.72030), degrees(144, 25, 29.52440)),
            (-degrees(37, 39, 10.15610), degrees(143, 55, 35.38390)),
            54972.271,
        ),
        # One hundredth of a degree at 45 N, by Karney's method
        ((45, 0), (45, 0.01), 788.468),
        ((45, 0), (45.01, 0), 1111.319),
        # Quarter meridian and equator of WGS84 (defining constants)
        ((0, 0), (90, 0), 10_001_965.729),
        ((0, 0), (0, 1), 111_319.491),
    ],
)
def test_published_lines(a, b, meters):
    found = distance_m(Place(latitude=a[0], longitude=a[1]), Place(latitude=b[0], longitude=b[1]))
    assert found == pytest.approx(meters, rel=TOLERANCE)


def test_a_sphere_would_not_do():
    """The mean sphere gives 786.268 m for the east-west step at 45 N, 2.2 m short; the
    spacing of 788 m would be broken there and is met here."""
    step = distance_m(Place(latitude=45, longitude=0), Place(latitude=45, longitude=0.01))
    assert step - 786.268 == pytest.approx(2.2, abs=0.01)
