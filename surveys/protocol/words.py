"""Numbers, times and places as the messages of the rules put them.

Rounding is half-up everywhere, so that another implementation of the rules can
say the same words.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Collection, Iterable
from decimal import Decimal

from surveys.dates import span
from surveys.language import filled, gettext, ngettext, said, said_of, unbroken_degrees
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

_METERS_PER_FOOT = float(METERS_PER_FOOT)
_METERS_PER_MILE = float(METERS_PER_MILE)


def half_up(value: float, places: int = 0) -> str:
    """A number of zero or more, half-up to `places`, without trailing zeros."""
    scale = 10**places
    return plain_number(Decimal(math.floor(value * scale + 0.5)) / scale)


def number(digits: str) -> str:
    """Digits with a decimal point, with the decimal mark of the reader's language."""
    # The translation of this number shows the mark.
    return digits.replace(".", gettext("0.5")[1])


def duration(length: dt.timedelta) -> str:
    """`5 min`, `4 min 30 s`, `45 s`, `1 h 20 min`; parts of a second are left out."""
    seconds = int(length.total_seconds())
    hours, minutes, seconds = seconds // 3600, seconds // 60 % 60, seconds % 60
    parts = (
        said("{number} h", number=hours) if hours else "",
        said("{number} min", number=minutes) if minutes or not (hours or seconds) else "",
        said("{number} s", number=seconds) if seconds else "",
    )
    return " ".join(filter(None, parts))


def from_sunset(offset: dt.timedelta) -> str:
    """`30 min after sunset`, `15 min before sunset`, `sunset`."""
    if offset < dt.timedelta(0):
        return said("{length} before sunset", length=duration(-offset))
    return said("{length} after sunset", length=duration(offset)) if offset else gettext("sunset")


def temperature(reading: Temperature, unit: TemperatureUnit) -> str:
    """A reading in the unit it was read in, with the reader's unit behind it where
    that differs: `42 °F`, `5.5 °C (41.9 °F)`."""
    read = unbroken_degrees(f"{number(plain_number(reading.value))} °{reading.unit.value}")
    if reading.unit is unit:
        return read
    return f"{read} ({number(show_temperature(to_celsius(reading), unit))})"


def distance(meters: float, unit: DistanceUnit) -> str:
    """`130 m`, `1.25 km`, `39 km`; `430 ft`, `0.27 mi`, `24 mi`."""
    if unit is DistanceUnit.KILOMETERS:
        if meters < 999.5:
            return said("{number} m", number=half_up(meters))
        return said("{number} km", number=_far(meters / 1000))
    miles = meters / _METERS_PER_MILE
    if miles < 0.2:
        return said("{number} ft", number=half_up(meters / _METERS_PER_FOOT))
    return said("{number} mi", number=_far(miles))


def _far(length: float) -> str:
    """To two places up to 10, to one up to 20, and whole from there on."""
    places = 2 if length < 10 else 1 if length < 20 else 0
    return number(half_up(length, places))


def speed(kmh: float, unit: DistanceUnit) -> str:
    """`80 km/h` or `50 mph`."""
    if unit is DistanceUnit.KILOMETERS:
        return said("{number} km/h", number=half_up(kmh))
    return said("{number} mph", number=half_up(kmh * 1000 / _METERS_PER_MILE))


def stop_numbers(numbers: Collection[int]) -> str:
    """`stop 2`, `stops 2 and 3`."""
    return filled(
        ngettext("stop {stops}", "stops {stops}", len(numbers)), {"stops": listed(numbers)}
    )


def season_in_words(season: tuple[MonthDay, MonthDay] | None) -> str:
    """`1 March to 20 May`, or `any time` without a calling season."""
    return span(*season) if season else gettext("any time")


def days(number: int) -> str:
    return said_of("{number} day", "{number} days", number)


def times(number: int) -> str:
    """`twice`, `3 times`."""
    return gettext("twice") if number == 2 else said_of("once", "{number} times", number)


def listed(items: Iterable[object], last: str = "and") -> str:
    """`1`, `1 and 2`, `1, 2 and 5`; with `last="or"`, `1, 2 or 5`."""
    words = [str(item) for item in items]
    if len(words) < 2:
        return "".join(words)
    first = gettext(", ").join(words[:-1])
    if last == "or":
        return said("{first} or {last}", first=first, last=words[-1])
    return said("{first} and {last}", first=first, last=words[-1])


def first_of(items: Iterable[object], number: int) -> str:
    """The first ones of a `number` of items: `1 and 2`; `1, 2 and 3 more` where there are five."""
    words = [str(item) for item in items]
    more = number - len(words)
    if more <= 0:
        return listed(words)
    return said("{first} and {number} more", first=gettext(", ").join(words), number=more)
