import datetime as dt
from decimal import Decimal

import pytest

from surveys.protocol import words
from surveys.protocol.params import clocks
from surveys.protocol.telling import Reader, show
from surveys.protocol.values import (
    DistanceUnit,
    Temperature,
    TemperatureUnit,
)

KM, MI = DistanceUnit.KILOMETERS, DistanceUnit.MILES
C, F = TemperatureUnit.CELSIUS, TemperatureUnit.FAHRENHEIT


@pytest.mark.parametrize(
    ("value", "places", "text"),
    [(0.5, 0, "1"), (2.5, 0, "3"), (1.254, 2, "1.25"), (1.2, 2, "1.2"), (100, 0, "100")],
)
def test_half_up(value, places, text):
    assert words.half_up(value, places) == text


@pytest.mark.parametrize(
    ("first", "second", "texts"),
    [
        ("02:14:00", "02:14:00", ("21:14", "21:14")),
        ("02:14:00", "02:14:30", ("21:14:00", "21:14:30")),
        ("02:14:59", "02:15:00", ("21:14", "21:15")),
        ("02:14:10", "03:14:10", ("21:14", "22:14")),
    ],
)
def test_two_clocks_show_seconds_where_they_share_a_minute(first, second, texts):
    instants = [dt.datetime.fromisoformat(f"2024-04-16T{clock}+00:00") for clock in (first, second)]
    shown = [show(clock, Reader(time_zone="America/Chicago")) for clock in clocks(*instants)]
    assert tuple(shown) == texts


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 min"),
        (0.4, "0 min"),
        (45, "45 s"),
        (300, "5 min"),
        (270, "4 min 30 s"),
        (4800, "1 h 20 min"),
    ],
)
def test_duration(seconds, text):
    assert words.duration(dt.timedelta(seconds=seconds)) == text


@pytest.mark.parametrize(
    ("value", "read", "unit", "text"),
    [
        ("42", F, F, "42\u00a0°F"),
        ("5.50", C, C, "5.5\u00a0°C"),
        ("5.5", C, F, "5.5\u00a0°C (41.9\u00a0°F)"),
        ("42", F, C, "42\u00a0°F (5.6\u00a0°C)"),
    ],
)
def test_temperature(value, read, unit, text):
    assert words.temperature(Temperature(value=Decimal(value), unit=read), unit) == text


@pytest.mark.parametrize(
    ("meters", "unit", "text"),
    [
        (130.4, KM, "130 m"),
        (999.4, KM, "999 m"),
        (999.5, KM, "1 km"),
        (19940, KM, "19.9 km"),
        (38994, KM, "39 km"),
        (38994, MI, "24 mi"),
        (1254, KM, "1.25 km"),
        (100, MI, "328 ft"),
        (804.672, MI, "0.5 mi"),
        (321.8, MI, "1056 ft"),
        (321.9, MI, "0.2 mi"),
    ],
)
def test_distance(meters, unit, text):
    assert words.distance(meters, unit) == text


def test_speed():
    assert words.speed(100, KM) == "100 km/h"
    assert words.speed(100, MI) == "62 mph"


def test_days():
    assert words.days(1) == "1 day"
    assert words.days(0) == "0 days"


@pytest.mark.parametrize(
    ("items", "text"), [([], ""), ([1], "1"), ([1, 2], "1 and 2"), ([1, 2, 5], "1, 2 and 5")]
)
def test_listed(items, text):
    assert words.listed(items) == text


@pytest.mark.parametrize(
    ("items", "number", "text"),
    [([], 0, ""), ([1], 1, "1"), ([1, 2], 2, "1 and 2"), ([1, 2], 5, "1, 2 and 3 more")],
)
def test_first_of(items, number, text):
    assert words.first_of(items, number) == text


def test_listed_with_or():
    assert words.listed([1, 2, 5], last="or") == "1, 2 or 5"
