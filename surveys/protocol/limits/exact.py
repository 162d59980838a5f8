"""The value of a limit in words that no rounding makes equal, for histories."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from decimal import Decimal
from enum import Enum
from typing import Any

from surveys.dates import time_of_day
from surveys.language import gettext, said, unbroken_degrees
from surveys.protocol.limits.limit import Kind, Limit
from surveys.protocol.limits.phrases import Units, codes_in_words
from surveys.protocol.values import DistanceUnit
from surveys.protocol.weather import plain_number
from surveys.protocol.words import distance, duration, listed, number


def exact(limit: Limit, value: Any, units: Units) -> str:
    """The value of a limit, in words that differ wherever the values differ."""
    return "" if value is None else _EXACT[limit.kind](limit, value, units)


def _length(limit: Limit, value: dt.timedelta, units: Units) -> str:
    return duration(value)


def _after_sunset(limit: Limit, value: dt.timedelta, units: Units) -> str:
    if value < dt.timedelta(0):
        return said("{length} before sunset", length=duration(-value))
    return said("{length} after sunset", length=duration(value))


def _force(limit: Limit, value: int, units: Units) -> str:
    return f"{value}: {limit.told_choices()[value]}"


def _choices(limit: Limit, value: frozenset[Enum], units: Units) -> str:
    stored = limit.to_column(value)
    return listed([_name(limit, choice) for choice in limit.choices if choice in stored])


def _code_table(limit: Limit, value: Mapping[str, Enum], units: Units) -> str:
    stored: Mapping[str, str] = limit.to_column(value)
    return codes_in_words({code: _name(limit, state) for code, state in stored.items()})


def _name(limit: Limit, choice: str) -> str:
    """The name of a state, without its sign."""
    words = limit.choices[choice]
    return gettext(words if isinstance(words, str) else words.name)


def _meters(limit: Limit, value: float, units: Units) -> str:
    exact = said("{number} m", number=number(f"{value:.1f}"))
    if units.distance is DistanceUnit.KILOMETERS:
        return exact
    return f"{distance(value, units.distance)} ({exact})"


def _temperatures(limit: Limit, value: tuple[Decimal, Decimal], units: Units) -> str:
    first, last = (unbroken_degrees(f"{number(plain_number(bound))} °C") for bound in value)
    return said("{first} to {last}", first=first, last=last)


_EXACT: dict[Kind, Callable[[Limit, Any, Units], str]] = {
    Kind.LENGTH: _length,
    Kind.AFTER_SUNSET: _after_sunset,
    Kind.CLOCK: lambda limit, value, units: time_of_day(value),
    Kind.COUNT: lambda limit, value, units: str(value),
    Kind.FORCE: _force,
    Kind.CHOICE: lambda limit, value, units: limit.told_choices()[value.value],
    Kind.CHOICES: _choices,
    Kind.CODE_TABLE: _code_table,
    Kind.YES_NO: lambda limit, value, units: gettext("yes" if value else "no"),
    Kind.LONG_DISTANCE: _meters,
    Kind.SHORT_DISTANCE: _meters,
    Kind.SPEED: lambda limit, value, units: said("{number} km/h", number=number(f"{value:.1f}")),
    Kind.TEMPERATURES: _temperatures,
}
