"""Single cells: what is typed, what it reads as, what is said when it cannot be read."""

import datetime as dt
from decimal import Decimal

import pytest

from surveys.protocol import params
from surveys.protocol.values import (
    Rain,
    RainUnit,
    SkyState,
    Temperature,
    TemperatureUnit,
)
from surveys.protocol.weather import SKY, plain_number, rain_to_mm, show_rain
from surveys.visits.sheet import texts

CELSIUS, FAHRENHEIT = TemperatureUnit.CELSIUS, TemperatureUnit.FAHRENHEIT


@pytest.mark.parametrize("text", ["", "  ", "-", "–", "—", "T", " t ", "n/a", "NA"])
def test_missing_texts(text):
    assert texts.is_missing(text)


@pytest.mark.parametrize("text", ["0", "no", "x", "?", "--"])
def test_texts_that_are_not_missing(text):
    assert not texts.is_missing(text)


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("12", "12"),
        ("12.5", "12.5"),
        ("12,5", "12.5"),
        (" 12 ", "12"),
        ("-3", "-3"),
        ("−3.25", "-3.25"),
        ("+4", "4"),
        (".5", "0.5"),
        ("007", "7"),
    ],
)
def test_numbers(text, number):
    assert texts.read_number(text) == Decimal(number)


@pytest.mark.parametrize(
    "text", ["warm", "1,234.5", "1e5", "nan", "Infinity", "12..5", "1 2", "١٢", "0x10", "9" * 30]
)
def test_not_a_number(text):
    with pytest.raises(texts.CellError, match="is not a number"):
        texts.read_number(text)


CODES = {"0": SkyState.CLEAR, "T": SkyState.THUNDER, "over": SkyState.FOG}


@pytest.mark.parametrize(
    ("text", "state"),
    [
        ("clear", SkyState.CLEAR),
        (" Light  rain ", SkyState.LIGHT_RAIN),
        ("light_rain", SkyState.LIGHT_RAIN),
        ("HEAVY-RAIN", SkyState.HEAVY_RAIN),
        ("driz", SkyState.DRIZZLE),
        ("overc", SkyState.OVERCAST),
        # A code of the protocol stands before the words.
        ("over", SkyState.FOG),
        ("0", SkyState.CLEAR),
        ("0.0", SkyState.CLEAR),
        ("t", SkyState.THUNDER),
    ],
)
def test_states(text, state):
    assert texts.read_state(text, SKY, CODES, params.sky) is state


@pytest.mark.parametrize("text", ["1", "ov", "rain", "over the hill", "t"])
def test_not_a_state(text):
    with pytest.raises(texts.CellError, match="is not one of the answers") as caught:
        texts.read_state(text, SKY, {"0": SkyState.CLEAR}, params.sky)
    assert caught.value.remedy.startswith("Choose clear or 0, partly cloudy, overcast, fog,")


@pytest.mark.parametrize(("text", "number"), [("3", 3), ("3.0", 3), ("-1", -1)])
def test_whole_numbers(text, number):
    assert texts.read_integer(text) == number


def test_not_a_whole_number():
    with pytest.raises(texts.CellError, match=r"“2\.5” is not a whole number"):
        texts.read_integer("2.5")


def test_number_out_of_range_names_the_range():
    with pytest.raises(texts.CellError, match="“70000” is not between 0 and 9999") as caught:
        texts.integer_between("70000", 0, 9999)
    assert caught.value.code == "cell-out-of-range"


@pytest.mark.parametrize(
    ("text", "sheet_unit", "value", "unit"),
    [
        ("12.5", CELSIUS, "12.5", CELSIUS),
        ("54", FAHRENHEIT, "54", FAHRENHEIT),
        ("54 °F", CELSIUS, "54", FAHRENHEIT),
        ("54F", CELSIUS, "54", FAHRENHEIT),
        ("12,5 c", FAHRENHEIT, "12.5", CELSIUS),
        ("-4deg C", FAHRENHEIT, "-4", CELSIUS),
    ],
)
def test_temperatures(text, sheet_unit, value, unit):
    reading = texts.read_temperature(text, sheet_unit)
    assert reading == Temperature(value=Decimal(value), unit=unit)


@pytest.mark.parametrize(
    ("text", "unit", "possible"),
    [
        ("-90", CELSIUS, True),
        ("-90.1", CELSIUS, False),
        ("100", CELSIUS, True),
        ("100.1", CELSIUS, False),
        ("212", FAHRENHEIT, True),
        ("213", FAHRENHEIT, False),
        ("999999999", FAHRENHEIT, False),
    ],
)
def test_temperatures_that_the_database_could_not_hold_are_refused(text, unit, possible):
    if possible:
        assert texts.read_temperature(text, unit)
    else:
        with pytest.raises(texts.CellError, match="not a possible temperature"):
            texts.read_temperature(text, unit)


def test_an_unreadable_temperature_quotes_the_whole_cell():
    with pytest.raises(texts.CellError, match="“about 12 C” is not a number"):
        texts.read_temperature("about 12 C", CELSIUS)


@pytest.mark.parametrize(
    ("text", "unit"), [("C", CELSIUS), ("f", FAHRENHEIT), ("°F", FAHRENHEIT), ("celsius", CELSIUS)]
)
def test_units(text, unit):
    assert texts.read_unit(text) is unit


@pytest.mark.parametrize("text", ["K", "cold", "°"])
def test_not_a_unit(text):
    with pytest.raises(texts.CellError, match="not a unit of temperature"):
        texts.read_unit(text)


@pytest.mark.parametrize(
    ("text", "unit", "amount", "read_in", "millimeters"),
    [
        ("0", "mm", "0", "mm", "0"),
        ("12.5", "mm", "12.5", "mm", "12.5"),
        ("12,54 mm", "in", "12.54", "mm", "12.54"),
        ("12.555", "mm", "12.555", "mm", "12.56"),
        # International inch, 25.4 mm exactly (NIST SP 811, 2008, B.8).
        ("1 in", "mm", "1", "in", "25.4"),
        ('0.5"', "mm", "0.5", "in", "12.7"),
        ("0.5", "in", "0.5", "in", "12.7"),
        (".01", "in", "0.01", "in", "0.25"),
        ("0", "in", "0", "in", "0"),
    ],
)
def test_rain(text, unit, amount, read_in, millimeters):
    rain = texts.read_rain(text, RainUnit(unit))
    assert rain == Rain(amount=Decimal(amount), unit=RainUnit(read_in))
    assert rain_to_mm(rain.amount, rain.unit) == Decimal(millimeters)


@pytest.mark.parametrize("text", ["T", "t", " tr ", "Trace", "T in"])
def test_a_trace_of_rain_is_an_answer_and_not_zero(text):
    assert not texts.rain_is_missing(text)
    rain = texts.read_rain(text, RainUnit.INCHES)
    assert rain.is_trace
    assert rain.amount is None


@pytest.mark.parametrize("text", ["", "-", "n/a"])
def test_rain_not_known(text):
    assert texts.rain_is_missing(text)


@pytest.mark.parametrize(
    ("text", "unit", "most"),
    [("-1", "mm", "2000 mm"), ("2001", "mm", "2000 mm"), ("100 in", "mm", "80 in"),
     ("81", "in", "80 in")],
)  # fmt: skip
def test_rain_out_of_range(text, unit, most):
    with pytest.raises(texts.CellError, match=f"is not between 0 and {most}"):
        texts.read_rain(text, RainUnit(unit))


@pytest.mark.parametrize("hundredths", [0, 1, 2, 3, 5, 50, 99, 128, 333, 1000])
def test_hundredths_of_an_inch_survive_in_millimeters(hundredths):
    amount = Decimal(hundredths) / 100
    stored = rain_to_mm(amount, RainUnit.INCHES)
    assert show_rain(stored, RainUnit.INCHES) == f"{plain_number(amount)} in"


@pytest.mark.parametrize(("text", "unit"), [("in", "in"), ("Inches", "in"), ("mm", "mm")])
def test_units_of_rain(text, unit):
    assert texts.read_rain_unit(text) is RainUnit(unit)


def test_a_unit_of_rain_that_is_none():
    with pytest.raises(texts.CellError, match="not a unit of rain"):
        texts.read_rain_unit("cups")


@pytest.mark.parametrize(
    ("text", "answer"), [("yes", True), ("Y", True), ("1", True), ("No", False), ("false", False)]
)
def test_yes_and_no(text, answer):
    assert texts.read_yes_no(text) is answer


def test_neither_yes_nor_no():
    with pytest.raises(texts.CellError, match="“perhaps” is neither yes nor no"):
        texts.read_yes_no("perhaps")


def test_choices_ignore_case_and_spaces():
    assert texts.read_choice(" Not seen", ("dry", "not_seen")) == "not_seen"
    with pytest.raises(texts.CellError) as caught:
        texts.read_choice("moist", ("dry", "pools", "not_seen"))
    assert caught.value.remedy == "Choose dry, pools or not seen."


def test_text_that_is_too_long_names_the_limit():
    assert texts.read_text("x" * 120, 120) == "x" * 120
    with pytest.raises(texts.CellError, match="has 121 characters; the limit is 120"):
        texts.read_text("x" * 121, 120)


@pytest.mark.parametrize(
    "text",
    [
        "2024-04-15",
        "2024-4-15",
        "2024/04/15",
        "15 April 2024",
        "15. Apr 2024",
        " 2024.04.15 ",
        "April 15, 2024",
        "Apr. 15 2024",
    ],
)
def test_nights(text):
    assert texts.read_night(text) == dt.date(2024, 4, 15)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("04/15/2024", "can be read in two ways"),
        ("yesterday", "is not a date"),
        ("2023-02-29", "There is no such day"),
        ("15 Foo 2024", "There is no such day"),
        ("0001-01-01", "not between 1900 and 2199"),
        ("9999-12-31", "not between 1900 and 2199"),
    ],
)
def test_not_a_night(text, message):
    with pytest.raises(texts.CellError, match=message) as caught:
        texts.read_night(text)
    assert "2024-04-15" in caught.value.remedy


def test_long_text_is_abbreviated_in_quotes():
    assert len(texts.quoted("x" * 500)) < 50
