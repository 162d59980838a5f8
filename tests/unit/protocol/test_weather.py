from decimal import Decimal

import pytest

from surveys.protocol.values import (
    NoiseEffect,
    RainUnit,
    SkyState,
    Temperature,
    TemperatureUnit,
)
from surveys.protocol.weather import (
    BEAUFORT,
    CALL_INDEX,
    NOISE,
    SKY,
    beaufort_from_speed,
    from_celsius,
    meters_per_second_from_kmh,
    meters_per_second_from_knots,
    meters_per_second_from_mph,
    plain_number,
    rain_to_mm,
    show_rain,
    show_temperature,
    to_celsius,
)
from tests.support.for_each import for_each

C, F = TemperatureUnit.CELSIUS, TemperatureUnit.FAHRENHEIT


@pytest.mark.parametrize("row", BEAUFORT, ids=lambda row: f"force {row.force}")
def test_both_bounds_belong_to_their_force(row):
    assert beaufort_from_speed(row.lowest) == row.force
    if row.highest is not None:
        assert beaufort_from_speed(row.highest) == row.force
        assert beaufort_from_speed(row.highest + Decimal("0.1")) == row.force + 1


@pytest.mark.parametrize(
    ("speed", "force"),
    [("0.24", 0), ("0.25", 1), ("3.34", 2), ("3.35", 3), (5.44, 3), (5.45, 4), (90, 12)],
)
def test_speeds_between_two_tenths_are_taken_half_up(speed, force):
    assert beaufort_from_speed(Decimal(speed) if isinstance(speed, str) else speed) == force


def test_a_negative_speed_is_an_error():
    with pytest.raises(ValueError, match="below zero"):
        beaufort_from_speed(-1)


def test_codes():
    assert list(SKY) == list(SkyState)
    assert list(NOISE) == list(NoiseEffect)
    assert list(CALL_INDEX) == [0, 1, 2, 3]


@pytest.mark.parametrize(
    ("value", "unit", "celsius"),
    [("42", F, "5.5556"), ("-40", F, "-40"), ("5.5", C, "5.5"), ("5.55555", C, "5.5556")],
)
def test_to_celsius(value, unit, celsius):
    assert to_celsius(Temperature(value=Decimal(value), unit=unit)) == Decimal(celsius)


@for_each("tenths", range(-400, 1200, 7))
def test_a_fahrenheit_reading_survives_storage_in_celsius(tenths):
    reading = Temperature(value=Decimal(tenths) / 10, unit=F)
    assert from_celsius(to_celsius(reading), F) == reading


@pytest.mark.parametrize(
    ("celsius", "unit", "shown"),
    [
        ("5.5556", F, "42\u00a0°F"),
        ("5.5556", C, "5.6\u00a0°C"),
        ("5.55", C, "5.6\u00a0°C"),
        ("10", C, "10\u00a0°C"),
        ("-3.5", C, "−3.5\u00a0°C"),
        ("-0.04", C, "0\u00a0°C"),
    ],
)
def test_show_temperature(celsius, unit, shown):
    assert show_temperature(Decimal(celsius), unit) == shown


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("100", "100"),
        ("1E+2", "100"),
        ("0.50", "0.5"),
        ("2.0", "2"),
        ("-0.0", "0"),
        ("-1.20", "−1.2"),
    ],
)
def test_plain_number(value, text):
    assert plain_number(Decimal(value)) == text


# 1 in = 25.4 mm exactly: NIST SP 811 (2008), B.8.
@pytest.mark.parametrize(
    ("amount", "unit", "stored", "shown"),
    [
        ("0.01", RainUnit.INCHES, "0.25", "0.01 in"),
        ("0.5", RainUnit.INCHES, "12.70", "0.5 in"),
        ("1", RainUnit.INCHES, "25.40", "1 in"),
        ("12.7", RainUnit.MILLIMETERS, "12.70", "12.7 mm"),
        ("0.25", RainUnit.MILLIMETERS, "0.25", "0.3 mm"),
        ("0", RainUnit.MILLIMETERS, "0.00", "0 mm"),
    ],
)
def test_rain_as_it_is_stored_and_shown(amount, unit, stored, shown):
    millimeters = rain_to_mm(Decimal(amount), unit)
    assert str(millimeters) == stored
    assert show_rain(millimeters, unit) == shown


@pytest.mark.parametrize("unit", RainUnit)
def test_a_trace_and_rain_that_nobody_wrote_down(unit):
    assert show_rain(None, unit, is_trace=True) == "a trace"
    assert show_rain(None, unit) == ""


def test_lengths_and_speeds():
    assert meters_per_second_from_mph(Decimal(1)) == Decimal("0.44704")
    assert meters_per_second_from_kmh(Decimal(36)) == 10
    assert meters_per_second_from_knots(Decimal(3600)) == 1852
