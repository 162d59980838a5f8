"""Numbers, times and places as the messages of the rules put them.

Rounding is half-up everywhere, so that another implementation of the rules can
say the same words.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from decimal import Decimal
from zoneinfo import ZoneInfo

from surveys.protocol.values import (
    DistanceUnit,
    MonthDay,
    Temperature,
    TemperatureUnit,
)
from surveys.protocol.weather import (
    METERS_PER_FOOT,
    METERS_PER_MILE,
    plain_number,
    show_temperature,
    to_celsius,
)

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

_METERS_PER_FOOT = float(METERS_PER_FOOT)
_METERS_PER_MILE = float(METERS_PER_MILE)
_ONE_MINUTE = dt.timedelta(minutes=1)


def half_up(value: float, places: int = 0) -> str:
    """A number of zero or more, half-up to `places`, without trailing zeros."""
    scale = 10**places
    return plain_number(Decimal(math.floor(value * scale + 0.5)) / scale)


def clock(instant: dt.datetime, time_zone: str) -> str:
    """Local clock time, the minute that has begun: `21:14`."""
    return f"{instant.astimezone(ZoneInfo(time_zone)):%H:%M}"


def clock_up(instant: dt.datetime, time_zone: str) -> str:
    """Local clock time, the first full minute that is not before the instant."""
    return clock(instant + _ONE_MINUTE - dt.timedelta(microseconds=1), time_zone)


def clocks(first: dt.datetime, second: dt.datetime, time_zone: str) -> tuple[str, str]:
    """Two clock times to be told apart: with seconds where they share their minute."""
    zone = ZoneInfo(time_zone)
    pattern = "%H:%M"
    if first != second and clock(first, time_zone) == clock(second, time_zone):
        pattern = "%H:%M:%S"
    return f"{first.astimezone(zone):{pattern}}", f"{second.astimezone(zone):{pattern}}"


def duration(length: dt.timedelta) -> str:
    """`5 min`, `4 min 30 s`, `45 s`, `1 h 20 min`; parts of a second are left out."""
    seconds = int(length.total_seconds())
    hours, minutes, seconds = seconds // 3600, seconds // 60 % 60, seconds % 60
    parts = ((hours, "h"), (minutes, "min"), (seconds, "s"))
    return " ".join(f"{number} {unit}" for number, unit in parts if number) or "0 min"


def temperature(reading: Temperature, unit: TemperatureUnit) -> str:
    """A reading in the unit it was read in, with the program's unit behind it where
    that differs: `42 °F`, `5.5 °C (41.9 °F)`."""
    read = f"{plain_number(reading.value)} °{reading.unit.value}"
    if reading.unit is unit:
        return read
    return f"{read} ({show_temperature(to_celsius(reading), unit)})"


def distance(meters: float, unit: DistanceUnit) -> str:
    """`130 m`, `1.25 km`; `430 ft`, `0.27 mi`."""
    if unit is DistanceUnit.KILOMETERS:
        return f"{half_up(meters)} m" if meters < 999.5 else f"{half_up(meters / 1000, 2)} km"
    miles = meters / _METERS_PER_MILE
    return f"{half_up(meters / _METERS_PER_FOOT)} ft" if miles < 0.2 else f"{half_up(miles, 2)} mi"


def speed(kmh: float, unit: DistanceUnit) -> str:
    """`80 km/h` or `50 mph`."""
    if unit is DistanceUnit.KILOMETERS:
        return f"{half_up(kmh)} km/h"
    return f"{half_up(kmh * 1000 / _METERS_PER_MILE)} mph"


def day(date: dt.date) -> str:
    """`15 April 2024`."""
    return f"{date.day} {MONTHS[date.month - 1]} {date.year}"


def month_day(date: MonthDay) -> str:
    """`1 December`."""
    return f"{date.day} {MONTHS[date.month - 1]}"


def stop_numbers(numbers: Iterable[int]) -> str:
    """`stop 2`, `stops 2 and 3`."""
    words = [str(number) for number in numbers]
    return f"stop{'' if len(words) == 1 else 's'} {listed(words)}"


def days(number: int) -> str:
    return "1 day" if number == 1 else f"{number} days"


def listed(items: Iterable[object], last: str = "and") -> str:
    """`1`, `1 and 2`, `1, 2 and 5`."""
    words = [str(item) for item in items]
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"
