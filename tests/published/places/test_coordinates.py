"""Degrees, minutes and seconds against geopy 2.5 (`geopy.point.Point.from_string`), which reads the
notation of ISO 6709, annex D, and a worked example of that annex as it is quoted (from memory)."""

import random

import pytest
from geopy.point import Point

from surveys.protocol.coordinates import Axis, read_degrees, read_pair

FORMS = (
    "{a}° {b}′ {c}″ {n} {d}° {e}′ {f}″ {w}",
    "{a}°{b}′{c}″{n}, {d}°{e}′{f}″{w}",
    "{a}° {minutes}′ {n}, {d}° {minutes}′ {w}",
    "{a}°{b}'{c}\" {n} {d}°{e}'{f}\" {w}",
    "{latitude}, {longitude}",
    "{latitude} {longitude}",
)


@pytest.mark.parametrize("form", FORMS)
def test_as_geopy_reads_it(form):
    draw = random.Random(6709)
    for _ in range(200):
        text = form.format(
            a=draw.randrange(90),
            b=draw.randrange(60),
            c=f"{draw.uniform(0, 59.9):.2f}",
            d=draw.randrange(180),
            e=draw.randrange(60),
            f=f"{draw.uniform(0, 59.9):.2f}",
            minutes=f"{draw.uniform(0, 59.9):.4f}",
            n=draw.choice("NS"),
            w=draw.choice("EW"),
            latitude=f"{draw.uniform(-90, 90):.6f}",
            longitude=f"{draw.uniform(-180, 180):.6f}",
        )
        theirs = Point.from_string(text)
        latitude, longitude = read_pair(text)
        assert read_degrees(latitude, Axis.LATITUDE) == pytest.approx(theirs.latitude, abs=1e-9)
        assert read_degrees(longitude, Axis.LONGITUDE) == pytest.approx(theirs.longitude, abs=1e-9)


def test_the_example_of_iso_6709():
    latitude, longitude = read_pair("50°40′46,461″N 95°48′26,533″W")
    assert read_degrees(latitude, Axis.LATITUDE) == pytest.approx(50 + 40 / 60 + 46.461 / 3600)
    assert read_degrees(longitude, Axis.LONGITUDE) == pytest.approx(-(95 + 48 / 60 + 26.533 / 3600))
