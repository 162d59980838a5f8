"""What the sentence of a finding is filled with, as plain JSON that tells its kind.

A number or a text stands for itself. Everything else is an object with one key, its kind:

    {"clock": "2024-04-16T02:14:00Z"}          shown to the minute
    {"clock_with_seconds": "2024-04-16T02:14:09Z"}
    {"time_of_day": "02:30"}                   local, of no certain instant
    {"duration_s": 270}                        seconds
    {"from_sunset_s": -900}                    seconds after sunset; before it where negative
    {"date": "2024-04-15"}, {"season": ["12-01", "03-15"]}
    {"days": 3}, {"times": 2}
    {"temperature": {"value": "42", "unit": "F"}}  as it was read
    {"celsius": "-15"}                         a bound, shown in the reader's unit alone
    {"distance_m": 130.25}, {"speed_kmh": 80}
    {"stops": [2, 3]}, {"place": 2}            `place` is a stop, or `start` or `end` of the visit
    {"cell": {"name": "beaufort", "stop": 2}}  or `row` of the sightings, or `end`: start, end
    {"species": "hyla-versicolor"}             a code; without a name it is shown itself
    {"sky": "fog"}, {"noise": "faint_lost"}, {"wind_sign": 3}  words of the state or the force
    {"word": "air_temperature"}                a key of `sentences/vocabulary.py`
    {"window": {"name": …, "opens": "04-01", "closes": "05-15"}}
    {"quoted": "2:75"}                         as it was typed
    {"and": […]}, {"or": […]}, {"list": […]}   lists of any of these

`telling.py` shows each kind; the phone does so in `rules/telling.js`.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from surveys.protocol.plain import to_plain
from surveys.protocol.values import (
    MonthDay,
    NoiseEffect,
    SeasonWindow,
    SkyState,
    Temperature,
    Where,
)

Param = Any


def clock(instant: dt.datetime) -> Param:
    return {"clock": to_plain(instant)}


def clocks(first: dt.datetime, second: dt.datetime) -> tuple[Param, Param]:
    """Two clock times to be told apart: with seconds where they share their minute."""
    share = first != second and _minute(first) == _minute(second)
    kind = "clock_with_seconds" if share else "clock"
    return {kind: to_plain(first)}, {kind: to_plain(second)}


def duration(length: dt.timedelta) -> Param:
    """Parts of a second are left out."""
    return {"duration_s": int(length.total_seconds())}


def pause(length: dt.timedelta) -> Param:
    """To the next full second, so that a short pause is never told as none."""
    return {"duration_s": math.ceil(round(length.total_seconds(), 3))}


def from_sunset(offset: dt.timedelta) -> Param:
    return {"from_sunset_s": int(offset.total_seconds())}


def date(day: dt.date) -> Param:
    return {"date": to_plain(day)}


def season(days: tuple[MonthDay, MonthDay]) -> Param:
    return {"season": to_plain(days)}


def days(number: int) -> Param:
    return {"days": number}


def times(number: int) -> Param:
    return {"times": number}


def temperature(reading: Temperature) -> Param:
    return {"temperature": to_plain(reading)}


def celsius(degrees: Decimal) -> Param:
    return {"celsius": to_plain(degrees)}


def distance(meters: float) -> Param:
    """To a millimeter, so that another implementation comes to the same number."""
    return {"distance_m": _rounded(meters)}


def speed(kmh: float) -> Param:
    return {"speed_kmh": _rounded(kmh)}


def stops(numbers: Iterable[int]) -> Param:
    return {"stops": sorted(numbers)}


def place(where: Where) -> Param:
    """The stop, or the end of the visit that a field such as `start.sky` names."""
    if where.stop is not None:
        return {"place": where.stop}
    return {"place": str(where.field).partition(".")[0]}


def species(code: str) -> Param:
    return {"species": code}


def sky(state: SkyState) -> Param:
    return {"sky": state.value}


def noise(effect: NoiseEffect) -> Param:
    return {"noise": effect.value}


def wind_sign(force: int) -> Param:
    return {"wind_sign": force}


def word(key: str) -> Param:
    return {"word": key}


def window(of: SeasonWindow) -> Param:
    days = {"opens": to_plain(of.opens), "closes": to_plain(of.closes)}
    return {"window": {"name": of.name, **days}}


def all_of(params: Iterable[Param]) -> Param:
    return {"and": list(params)}


def any_of(params: Iterable[Param]) -> Param:
    return {"or": list(params)}


def _minute(instant: dt.datetime) -> dt.datetime:
    return instant.astimezone(dt.UTC).replace(second=0, microsecond=0)


def _rounded(value: float) -> int | float:
    rounded = math.floor(value * 1000 + 0.5) / 1000
    return int(rounded) if rounded.is_integer() else rounded
