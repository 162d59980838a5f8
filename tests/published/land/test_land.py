"""The map that ships and its projection, against what stands elsewhere."""

import math

import pytest

from surveys.land.around import mercator, part_around
from surveys.protocol.values import Place


def test_mercator_is_that_of_the_worked_example():
    """IOGP Publication 373-7-2 (EPSG Guidance Note 7, part 2), method 1024 Popular Visualisation
    Pseudo-Mercator, its example: 24°22'54.433"N 100°20'00.000"W. Numbers from memory."""
    place = Place(latitude=24 + 22 / 60 + 54.433 / 3600, longitude=-(100 + 20 / 60))
    assert mercator(place) == pytest.approx((-11_169_055.58, 2_800_000.00), abs=0.01)


def test_capitals_lie_in_their_counties():
    """Capitols of states and the counties that they stand in, from memory."""
    for name, latitude, longitude in (
        ("Dane", 43.0747, -89.3841),  # Madison, Wisconsin
        ("Fulton", 33.7490, -84.3880),  # Atlanta, Georgia
        ("Kennebec", 44.3072, -69.7817),  # Augusta, Maine
        ("Leon", 30.4381, -84.2816),  # Tallahassee, Florida
        ("Sacramento", 38.5766, -121.4934),  # Sacramento, California
    ):
        names = [
            one for one, *_ in part_around([Place(latitude=latitude, longitude=longitude)])["names"]
        ]
        assert name in names, name


def test_every_continent_has_its_countries():
    """Cities and their countries, from memory."""
    for name, latitude, longitude in (
        ("Canada", 45.42, -75.70),
        ("France", 48.11, -1.68),
        ("United Kingdom", 52.48, -1.90),
        ("Turkey", 39.93, 32.86),
        ("Philippines", 14.60, 121.00),
        ("Brazil", -15.79, -47.88),
        ("Kenya", -1.29, 36.82),
        ("Australia", -35.28, 149.13),
    ):
        names = [
            one for one, *_ in part_around([Place(latitude=latitude, longitude=longitude)])["names"]
        ]
        assert name in names, (name, names)


def test_a_degree_of_longitude_is_as_wide_as_on_the_sphere():
    """Web Mercator takes the sphere of the equatorial radius of WGS 84, 6378137 m (EPSG 3857)."""
    (x, _), (other, _) = (mercator(Place(latitude=45, longitude=at)) for at in (10, 11))
    assert other - x == pytest.approx(math.radians(1) * 6_378_137)
