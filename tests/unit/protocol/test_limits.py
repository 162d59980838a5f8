import dataclasses
import datetime as dt
from decimal import Decimal

import pytest

from surveys.protocol.limits.phrases import Units, window_in_words
from surveys.protocol.limits.words import hearing_in_words, limits_in_words
from surveys.protocol.values import (
    DistanceUnit,
    Interruption,
    MonthDay,
    NoiseEffect,
    Protocol,
    SeasonWindow,
    SkyState,
    Temperature,
    TemperatureUnit,
    WithoutTest,
)

UNITS = Units(temperature=TemperatureUnit.CELSIUS, distance=DistanceUnit.KILOMETERS)
MINUTE = dt.timedelta(minutes=1)
WINDOW = SeasonWindow(
    name="Winter", opens=MonthDay(month=12, day=15), closes=MonthDay(month=3, day=10)
)
BARE = {
    "name": "Example",
    "version": 1,
    "season_year_begins": MonthDay(month=9, day=1),
    "windows": (WINDOW,),
    "listening_time": 5 * MINUTE,
}


def in_words(**limits):
    protocol = Protocol(**{**BARE, **limits})
    return dict(limits_in_words(protocol, UNITS))


def test_a_protocol_with_few_limits_says_little():
    assert in_words() == {
        "Listening time": "5 min",
        "When a loud event interrupts": (
            "stop the clock, then keep listening for the rest of the time"
        ),
        "Stops": "at least 1, in the order of their numbers",
    }


def warm(air=None, water=None):
    limits = {
        "min_air_temperature": air
        and Temperature(value=Decimal(air), unit=TemperatureUnit.CELSIUS),
        "min_water_temperature": water
        and Temperature(value=Decimal(water), unit=TemperatureUnit.FAHRENHEIT),
    }
    return (SeasonWindow(name="Winter", opens=WINDOW.opens, closes=WINDOW.closes, **limits),)


@pytest.mark.parametrize(
    ("limits", "name", "words"),
    [
        ({"earliest_start_after_sunset": 30 * MINUTE}, "Earliest start", "30 min after sunset"),
        ({"earliest_start_after_sunset": 0 * MINUTE}, "Earliest start", "sunset"),
        ({"earliest_start_after_sunset": -15 * MINUTE}, "Earliest start", "15 min before sunset"),
        ({"latest_end_clock": dt.time(1)}, "Latest end", "01:00"),
        ({"latest_end_after_sunset": 270 * MINUTE}, "Latest end", "4 h 30 min after sunset"),
        (
            {"latest_end_clock": dt.time(1), "latest_end_after_sunset": 270 * MINUTE},
            "Latest end",
            "01:00 or 4 h 30 min after sunset, whichever comes first",
        ),
        ({"settling_wait": 1 * MINUTE}, "Quiet wait", "1 min"),
        ({"longest_listening_time": 10 * MINUTE}, "Listening time", "5 min, up to 10 min in noise"),
        (
            {"interruption": Interruption.RESTART},
            "When a loud event interrupts",
            "start over",
        ),
        ({"windows": warm(air="5")}, "Temperature, Winter", "at least 5\u00a0°C"),
        (
            {"windows": warm(air="5", water="50")},
            "Temperature, Winter",
            "at least 5\u00a0°C; at least 50\u00a0°F (10\u00a0°C) in the water",
        ),
        (
            {"max_beaufort": 3},
            "Wind",
            "at most Beaufort 3 (leaves and small twigs move all the time)",
        ),
        (
            {"forbidden_skies": frozenset({SkyState.THUNDER, SkyState.SNOW, SkyState.HEAVY_RAIN})},
            "Sky",
            "no survey in heavy rain, snow or thunder",
        ),
        (
            {"loudest_noise": NoiseEffect.FAINT_LOST},
            "Noise",
            "at most “faint calls lost” (soft and distant calls are lost)",
        ),
        ({"min_stops": 8, "stops_in_order": False}, "Stops", "at least 8, in any order"),
        ({"min_stop_spacing_m": 800}, "Between stops", "at least 800 m"),
        ({"min_days_between_visits": 15}, "Between visits", "at least 15 days"),
        ({"training_needed": True}, "Call-identification test", "required"),
        (
            {"training_needed": True, "without_test": WithoutTest.NOTE},
            "Call-identification test",
            "asked for; a visit without one gets a note",
        ),
    ],
)
def test_each_limit(limits, name, words):
    assert in_words(**limits)[name] == words


def test_a_window():
    assert window_in_words(WINDOW) == "15 December to 10 March"


def heard_under(**limits):
    return hearing_in_words(Protocol(**{**BARE, **limits}), UNITS)


@pytest.mark.parametrize(
    ("limits", "differs"),
    [
        ({"listening_time": 3 * MINUTE}, True),
        ({"settling_wait": MINUTE}, True),
        ({"earliest_start_after_sunset": 30 * MINUTE}, True),
        ({"latest_end_clock": dt.time(0, 30)}, True),
        ({"interruption": Interruption.EXTEND}, True),
        (
            {
                "windows": (
                    dataclasses.replace(
                        WINDOW,
                        min_air_temperature=Temperature(
                            value=Decimal(5), unit=TemperatureUnit.CELSIUS
                        ),
                    ),
                )
            },
            True,
        ),
        ({"windows": (dataclasses.replace(WINDOW, closes=MonthDay(month=4, day=1)),)}, True),
        ({"windows": (dataclasses.replace(WINDOW, name="Late"),)}, False),
        ({"name": "Another", "version": 2}, False),
        ({"max_beaufort": 3}, False),
        ({"min_stops": 5}, False),
    ],
)
def test_only_what_changes_hearing_makes_another_way_of_listening(limits, differs):
    assert (heard_under(**limits) != heard_under()) is differs
