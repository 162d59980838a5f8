"""Whether the limits of a protocol can hold together."""

from __future__ import annotations

import datetime as dt
from typing import Any

from surveys.protocol.limits.limit import Kind, Limit
from surveys.protocol.limits.table import LIMITS
from surveys.protocol.values import DistanceUnit, Protocol
from surveys.protocol.words import distance, duration

_UNITS = {Kind.AFTER_SUNSET: " minutes", Kind.SPEED: " km/h", Kind.TEMPERATURES: " °C"}


def limit_problems(protocol: Protocol) -> dict[str, list[str]]:
    """What keeps the limits from holding, as sentences by the name of the limit."""
    problems = {
        limit.name: [_outside(limit)]
        for limit in LIMITS
        if not _is_possible(limit, limit.to_column(getattr(protocol, limit.name)))
    }
    if protocol.listening_time <= dt.timedelta(0):
        problems["listening_time"] = ["The listening time is longer than nothing."]
    longest = protocol.longest_listening_time
    if longest is not None and longest < protocol.listening_time:
        problems["longest_listening_time"] = [
            "The longest listening time is shorter than the listening time."
        ]
    if protocol.latest_end_clock is not None and protocol.latest_end_after_sunset is not None:
        problems["latest_end_clock"] = [
            "Give the latest end either as a clock time or as minutes after sunset."
        ]
    lowest, highest = protocol.plausible_temperature_c
    if lowest >= highest:
        problems["plausible_temperature_c"] = ["The first temperature has to be below the second."]
    return problems


def _is_possible(limit: Limit, stored: Any) -> bool:
    values = stored if isinstance(stored, list) else [stored]
    if limit.codes:
        return all(value is None or value in limit.codes for value in values)
    if limit.lowest is None or limit.highest is None:
        return True
    return all(value is None or limit.lowest <= value <= limit.highest for value in values)


def range_in_words(limit: Limit) -> str:
    """`1 s to 24 h`, for a limit that has a range."""
    assert limit.lowest is not None
    assert limit.highest is not None
    match limit.kind:
        case Kind.LENGTH:
            ends = [duration(dt.timedelta(seconds=end)) for end in (limit.lowest, limit.highest)]
        case Kind.LONG_DISTANCE | Kind.SHORT_DISTANCE:
            ends = [distance(end, DistanceUnit.KILOMETERS) for end in (limit.lowest, limit.highest)]
        case _:
            ends = [str(limit.lowest), f"{limit.highest}{_UNITS.get(limit.kind, '')}"]
    return " to ".join(ends)


def _outside(limit: Limit) -> str:
    if limit.codes:
        return f"Choose among {', '.join(map(str, limit.codes))}."
    return f"Give a value from {range_in_words(limit)}."
