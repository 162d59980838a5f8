import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

import pytest
from hypothesis import given

from surveys.protocol.plain import (
    PlainError,
    from_plain,
    to_plain,
)
from surveys.protocol.values import (
    Case,
    MonthDay,
    Period,
    Protocol,
    StopSky,
    Temperature,
    TemperatureUnit,
    Visit,
)
from tests.unit.protocol.cases import (
    cases,
    steady,
)

PROTOCOL = {
    "name": "Example",
    "version": 1,
    "season_year_begins": "09-01",
    "windows": [{"name": "Winter", "opens": "12-15", "closes": "02-29"}],
    "listening_time": 300,
}


@steady
@given(case=cases)
def test_there_and_back_through_json(case):
    assert from_plain(Case, json.loads(json.dumps(to_plain(case)))) == case


def test_what_is_not_given_takes_its_default():
    """The phone leaves such keys out of a visit, and packets write them out."""
    visit = from_plain(
        Visit,
        {
            "night": "2024-04-15",
            "periods": [{"stop": 1, "calls": [{"species": "a", "index": 1}]}],
        },
    )
    blank = {"air_temperature": None, "beaufort": None, "sky": None}
    assert to_plain(visit) == {
        "night": "2024-04-15",
        "start": blank,
        "end": blank,
        "own_filled": [],
        "periods": [
            {
                "stop": 1,
                "status": "listened",
                "arrived_at": None,
                "started_at": None,
                "finished_at": None,
                "paused": 0,
                **blank,
                "water_temperature": None,
                "noise": None,
                "measured_at": None,
                "measured_accuracy_m": None,
                "calls": [{"species": "a", "index": 1, "not_sure": False, "distance": None}],
                "own_filled": [],
            }
        ],
    }


def test_the_plain_form():
    protocol = from_plain(
        Protocol,
        {
            **PROTOCOL,
            "latest_end_clock": "01:00",
            "forbidden_skies": ["snow", "fog"],
            "sky_codes": {"2": "overcast"},
            "settling_wait": 90.5,
        },
    )
    plain = to_plain(protocol)
    assert plain["season_year_begins"] == "09-01"
    assert plain["windows"][0]["closes"] == "02-29"
    assert plain["windows"][0]["min_air_temperature"] is None
    assert plain["listening_time"] == 300
    assert plain["settling_wait"] == 90.5
    assert plain["latest_end_clock"] == "01:00"
    assert plain["forbidden_skies"] == ["fog", "snow"]
    assert plain["sky_codes"] == {"2": "overcast"}
    assert plain["noise_codes"] == {}
    assert plain["interruption"] == "pause"
    assert plain["plausible_temperature_c"] == ["-15", "45"]


def test_left_out_keys_take_the_default():
    protocol = from_plain(Protocol, PROTOCOL)
    assert protocol.min_stops == 1
    assert protocol.season_year_begins == MonthDay(month=9, day=1)


@pytest.mark.parametrize(
    ("kind", "value", "plain"),
    [
        (dt.time, dt.time(1, 0, 30), "01:00:30"),
        (dt.datetime, dt.datetime(2024, 4, 16, 1, 15, tzinfo=dt.UTC), "2024-04-16T01:15:00Z"),
        (Decimal, Decimal("42"), "42"),
        (float, 2.0, 2),
        (bool, True, True),
        (
            Temperature,
            Temperature(value=Decimal("-1.5"), unit=TemperatureUnit.CELSIUS),
            {"value": "-1.5", "unit": "C"},
        ),
    ],
)
def test_single_values(kind, value, plain):
    assert to_plain(value) == plain
    assert from_plain(kind, plain) == value


def test_an_instant_in_another_zone_becomes_utc():
    instant = from_plain(dt.datetime, "2024-04-15T20:15:00-05:00")
    assert instant == dt.datetime(2024, 4, 16, 1, 15, tzinfo=dt.UTC)
    assert instant.tzinfo is dt.UTC


def test_a_value_without_a_plain_form():
    with pytest.raises(TypeError, match="object has no plain form"):
        to_plain(object())


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        (
            {"listening_time": "5 min"},
            "protocol.listening_time: '5 min' is not a number of seconds",
        ),
        ({"listening_time": True}, "protocol.listening_time: True is not a number of seconds"),
        ({"listening_time": float("nan")}, "protocol.listening_time: nan is not"),
        ({"season_year_begins": "9-31"}, "protocol.season_year_begins: '9-31' is not a day of"),
        ({"season_year_begins": "04-31"}, "is not a day of the year such as 04-15"),
        ({"windows": {}}, "protocol.windows: a list is expected"),
        ({"windows": [3]}, r"protocol.windows\[0\]: an object is expected"),
        ({"windows": [{"name": "W", "opens": "04-01"}]}, r"windows\[0\]: closes is left out"),
        ({"windows": [{"name": "W"}]}, r"protocol.windows\[0\]: opens, closes is left out"),
        (
            {"latest_end_after_sunset": "late"},
            "protocol.latest_end_after_sunset: 'late' is not a number of seconds",
        ),
        ({"wait": 60}, "protocol: there is no field wait"),
        ({"interruption": "stop"}, "'stop' is not one of pause, restart, extend"),
        ({"min_stops": 1.5}, "min_stops: 1.5 is not a whole number"),
        ({"plausible_temperature_c": ["-15"]}, "2 values are expected, not 1"),
        ({"plausible_temperature_c": ["-15", "warm"]}, r"\[1\]: 'warm' is not an exact number"),
        ({"plausible_temperature_c": ["-15", "Infinity"]}, "is not an exact number"),
        ({"forbidden_skies": ["8"]}, r"forbidden_skies\[0\]: '8' is not one of clear, partly"),
        ({"sky_codes": {"8": "8"}}, r"sky_codes.8: '8' is not one of clear, partly"),
        ({"latest_end_clock": "25:00"}, "'25:00' is not a clock time"),
    ],
)
def test_a_mistake_is_named_with_its_place(changes, message):
    with pytest.raises(PlainError, match=message):
        from_plain(Protocol, {**PROTOCOL, **changes})


def test_an_instant_without_a_zone_is_a_mistake():
    with pytest.raises(PlainError, match="is not an instant such as"):
        from_plain(Period, {"stop": 1, "started_at": "2024-04-16T01:15:00"})


@dataclass(frozen=True, kw_only=True)
class _Skies:
    sky: Mapping[int, StopSky]


def test_keys_of_a_mapping_are_stop_numbers():
    with pytest.raises(PlainError, match="the key 'first' is not a stop number"):
        from_plain(_Skies, {"sky": {"first": {}}})
