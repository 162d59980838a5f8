"""Uncertainty of coordinates on a grid."""

import math

import pytest

from surveys.publishing.places import half_diagonal_m


@pytest.mark.parametrize(
    ("side", "published"),
    # Chapman & Wieczorek 2020, Georeferencing Best Practices, doi:10.15468/doc-gg7h-s853:
    # uncertainty in meters from the precision of coordinates at the equator, a whole diagonal.
    [(0.1, 15691), (0.01, 1570), (0.001, 157)],
)
def test_diagonal_at_the_equator(side, published):
    assert math.ceil(2 * half_diagonal_m(side / 2, side)) == published
