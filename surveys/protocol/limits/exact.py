"""The value of a limit in words that no rounding makes equal, for histories."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from decimal import Decimal
from enum import Enum
from typing import Any

from surveys.dates import time_of_day
from surveys.protocol.limits.limit import Kind, Limit
from surveys.protocol.limits.phrases import Units, codes_in_words
from surveys.protocol.values import DistanceUnit
from surveys.protocol.weather import plain_number
from surveys.protocol.words import distance, duration, listed


def exact(limit: Limit, value: Any, units: Units) -> str:
    """The value of a limit, in words that differ wherever the values differ."""
    return "" if value is None else _EXACT[limit.kind](limit, value, units)


def _length(limit: Limit, value: dt.timedelta, units: Units) -> str:
    return duration(value)


def _after_sunset(limit: Limit, value: dt.timedelta, units: Units) -> str:
    side = "before" if value < dt.timedelta(0) else "after"
    return f"{duration(abs(value))} {side} sunset"


def _force(limit: Limit, value: int, units: Units) -> str:
    return f"{value}: {limit.choices[value]}"


def _choices(limit: Limit, value: frozenset[Enum], units: Units) -> str:
    stored = limit.to_column(value)
    return listed([_name(words) for choice, words in limit.choices.items() if choice in stored])


def _code_table(limit: Limit, value: Mapping[str, Enum], units: Units) -> str:
    stored: Mapping[str, str] = limit.to_column(value)
    return codes_in_words({code: _name(limit.choices[state]) for code, state in stored.items()})


def _name(words: str) -> str:
    """The name of a state, without its sign."""
    return words.partition(":")[0]


def _meters(limit: Limit, value: float, units: Units) -> str:
    exact = f"{value:.1f} m"
    if units.distance is DistanceUnit.KILOMETERS:
        return exact
    return f"{distance(value, units.distance)} ({exact})"


def _temperatures(limit: Limit, value: tuple[Decimal, Decimal], units: Units) -> str:
    return " to ".join(f"{plain_number(bound)} °C" for bound in value)


_EXACT: dict[Kind, Callable[[Limit, Any, Units], str]] = {
    Kind.LENGTH: _length,
    Kind.AFTER_SUNSET: _after_sunset,
    Kind.CLOCK: lambda limit, value, units: time_of_day(value),
    Kind.COUNT: lambda limit, value, units: str(value),
    Kind.FORCE: _force,
    Kind.CHOICE: lambda limit, value, units: limit.choices[value.value],
    Kind.CHOICES: _choices,
    Kind.CODE_TABLE: _code_table,
    Kind.YES_NO: lambda limit, value, units: "yes" if value else "no",
    Kind.LONG_DISTANCE: _meters,
    Kind.SHORT_DISTANCE: _meters,
    Kind.SPEED: lambda limit, value, units: f"{value:.1f} km/h",
    Kind.TEMPERATURES: _temperatures,
}
