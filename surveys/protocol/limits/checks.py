"""Whether the limits of a protocol can hold together."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from surveys.language import gettext, grouped, said, unbroken_degrees
from surveys.language import gettext_noop as _
from surveys.protocol.limits.limit import Kind, Limit
from surveys.protocol.limits.table import LIMITS
from surveys.protocol.values import DistanceUnit, Protocol
from surveys.protocol.words import distance, duration

LONGEST_CODE = 4

_RANGES = {
    Kind.AFTER_SUNSET: _("{lowest} to {highest} minutes"),
    Kind.SPEED: _("{lowest} to {highest} km/h"),
    Kind.TEMPERATURES: _("{lowest} to {highest} °C"),
}


def limit_problems(protocol: Protocol) -> dict[str, list[str]]:
    """What keeps the limits from holding, as sentences by the name of the limit."""
    problems = {
        limit.name: _outside(limit, stored)
        for limit in LIMITS
        if not _is_possible(limit, stored := limit.to_column(getattr(protocol, limit.name)))
    }
    if protocol.listening_time <= dt.timedelta(0):
        problems["listening_time"] = [gettext("The listening time is longer than nothing.")]
    longest = protocol.longest_listening_time
    if longest is not None and longest < protocol.listening_time:
        problems["longest_listening_time"] = [
            gettext("The maximum listening time is shorter than the listening time.")
        ]
    if protocol.latest_end_clock is not None and protocol.latest_end_after_sunset is not None:
        problems["latest_end_clock"] = [
            gettext("Give the latest end either as a clock time or as minutes after sunset.")
        ]
    lowest, highest = protocol.plausible_temperature_c
    if lowest >= highest:
        problems["plausible_temperature_c"] = [
            gettext("The first temperature has to be below the second.")
        ]
    return problems


def _is_possible(limit: Limit, stored: Any) -> bool:
    if isinstance(stored, dict):
        return not code_problems(limit, stored)
    values = stored if isinstance(stored, list) else [stored]
    if limit.choices:
        return all(value is None or value in limit.choices for value in values)
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
            ends = [_kilometers(end) for end in (limit.lowest, limit.highest)]
        case kind:
            text = _RANGES.get(kind, "{lowest} to {highest}")
            lowest = str(limit.lowest).replace("-", "−")
            return unbroken_degrees(said(text, lowest=lowest, highest=grouped(limit.highest)))
    return said("{first} to {last}", first=ends[0], last=ends[1])


def _kilometers(meters: float) -> str:
    if meters < 1_000_000:
        return distance(meters, DistanceUnit.KILOMETERS)
    return said("{number} km", number=grouped(round(meters / 1000)))


def code_problems(limit: Limit, table: Mapping[str, str]) -> list[str]:
    """What keeps a table of codes from being read without doubt."""
    words = {key.casefold() for key in limit.choices}
    problems = [
        said(
            "A code is one to {longest} letters or digits. Change “{code}”.",
            longest=LONGEST_CODE,
            code=code,
        )
        for code in table
        if not (code.isalnum() and len(code) <= LONGEST_CODE)
    ]
    problems += [
        said("“{code}” is a word of the list, so it cannot be a code.", code=code)
        for code in table
        if code in words
    ]
    folded = [code.casefold() for code in table]
    problems += [
        said("The code “{code}” stands for two things.", code=code)
        for code in table
        if folded.count(code.casefold()) > 1
    ]
    if not set(table.values()) <= set(limit.choices):
        problems.append(_choose_among(limit))
    return problems


def _outside(limit: Limit, stored: Any) -> list[str]:
    if isinstance(stored, dict):
        return code_problems(limit, stored)
    if limit.choices:
        return [_choose_among(limit)]
    return [said("Give a value from {range}.", range=range_in_words(limit))]


def _choose_among(limit: Limit) -> str:
    return said("Choose among {choices}.", choices=gettext(", ").join(map(str, limit.choices)))
