"""Weather codes, temperature, lengths and speeds against their standards."""

from decimal import Decimal

import pytest

from surveys.protocol.values import (
    Temperature,
    TemperatureUnit,
)
from surveys.protocol.weather import (
    BEAUFORT,
    METERS_PER_MILE,
    beaufort_from_speed,
    meters_per_second_from_kmh,
    meters_per_second_from_knots,
    meters_per_second_from_mph,
    to_celsius,
)

# WMO-No. 306 and WMO-No. 8, Beaufort table (document numbers from memory; the bounds up to
# force 6 agree with several printed copies, those above are from memory).
METERS_PER_SECOND = [
    ("0.0", "0.2"), ("0.3", "1.5"), ("1.6", "3.3"), ("3.4", "5.4"), ("5.5", "7.9"),
    ("8.0", "10.7"), ("10.8", "13.8"), ("13.9", "17.1"), ("17.2", "20.7"), ("20.8", "24.4"),
    ("24.5", "28.4"), ("28.5", "32.6"),
]  # fmt: skip
KMH = [(1, 5), (6, 11), (12, 19), (20, 28), (29, 38), (39, 49)]
MPH = [(1, 3), (4, 7), (8, 12), (13, 18), (19, 24), (25, 31)]
KNOTS = [(1, 3), (4, 6), (7, 10), (11, 16), (17, 21), (22, 27)]


@pytest.mark.parametrize(("force", "bounds"), list(enumerate(METERS_PER_SECOND)))
def test_beaufort_bounds_in_meters_per_second(force, bounds):
    assert (BEAUFORT[force].lowest, BEAUFORT[force].highest) == tuple(map(Decimal, bounds))
    assert beaufort_from_speed(Decimal(bounds[0])) == force
    assert beaufort_from_speed(Decimal(bounds[1])) == force


def test_hurricane_force_has_no_upper_bound():
    assert BEAUFORT[12].lowest == Decimal("32.7")
    assert BEAUFORT[12].highest is None
    assert beaufort_from_speed(Decimal(100)) == 12


@pytest.mark.parametrize(
    ("table", "convert", "apart"),
    [
        (KMH, meters_per_second_from_kmh, {(12, 2)}),
        (MPH, meters_per_second_from_mph, {(18, 5), (31, 7)}),
        (KNOTS, meters_per_second_from_knots, {(16, 5), (21, 6), (27, 7)}),
    ],
    ids=["km/h", "mph", "knots"],
)
def test_whole_numbers_of_other_units(table, convert, apart):
    """The columns of the table are rounded each by itself, so they part at some edges by
    one unit. Meters per second decide."""
    found = {
        (speed, beaufort_from_speed(convert(Decimal(speed))))
        for lowest, highest in table
        for speed in range(lowest, highest + 1)
    }
    printed = {
        (speed, force)
        for force, (lowest, highest) in enumerate(table, start=1)
        for speed in range(lowest, highest + 1)
    }
    assert found - printed == apart


@pytest.mark.parametrize("force", range(13))
def test_the_law_behind_the_scale(force):
    """v = 0.836 B^1.5 m/s (from memory) gives a speed within its own force."""
    assert beaufort_from_speed(0.836 * force**1.5) == force


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    [
        # NIST SP 811 (2008), B.8 (from memory): (t_F − 32) / 1.8
        ("32", "0"),
        ("41", "5"),
        ("42", "5.5556"),
        ("50", "10"),
        ("55", "12.7778"),
        ("62.6", "17"),
        ("63", "17.2222"),
        ("70", "21.1111"),
        ("212", "100"),
        ("-40", "-40"),
    ],
)
def test_fahrenheit_to_celsius(fahrenheit, celsius):
    reading = Temperature(value=Decimal(fahrenheit), unit=TemperatureUnit.FAHRENHEIT)
    assert to_celsius(reading) == Decimal(celsius)


def test_exact_lengths_and_speeds():
    """NIST SP 811 (2008), appendix B (from memory)."""
    assert Decimal("1609.344") == METERS_PER_MILE
    assert meters_per_second_from_mph(Decimal(1)) == Decimal("0.44704")
    assert meters_per_second_from_knots(Decimal(1)) == Decimal(1852) / 3600
