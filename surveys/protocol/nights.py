"""Clock times of a night, and the instants they stand for.

A night runs from noon to noon and has the date of its evening, so a clock time
before noon belongs to the next date. Where the clocks change, a local time can
come twice or not at all; both are reported, never guessed.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal
from zoneinfo import ZoneInfo

NOON = dt.time(12)
_HALF_DAY = dt.timedelta(hours=12)
_SECOND = dt.timedelta(seconds=1)

_WITH_SEPARATOR = re.compile(r"(\d{1,2})\s*[:.h]\s*(\d{2})(?:[:.](\d{2}))?")
_DIGITS_ONLY = re.compile(r"(\d{1,2})(\d{2})")
_HOUR_ONLY = re.compile(r"(\d{1,2})")
_NAMED = {"noon": NOON, "midnight": dt.time(0)}
_HALF = re.compile(r"\s*([ap])\.?\s*m\.?$")


@dataclass(frozen=True, kw_only=True)
class Ambiguous:
    """The clocks go back: the clock showed this time twice."""

    first: dt.datetime
    second: dt.datetime


@dataclass(frozen=True, kw_only=True)
class Missing:
    """The clocks go forward: no clock showed this time.

    `jumps_at` is the instant of the change. `earlier` is the time read on a clock
    that was already put forward, `later` on one that was not.
    """

    jumps_at: dt.datetime
    earlier: dt.datetime
    later: dt.datetime


class ClockError(ValueError):
    """A typed clock time that cannot be read, with the variant of the sentence that says why
    (`sentences/cells.py`)."""

    def __init__(self, variant: str) -> None:
        super().__init__(variant)
        self.variant = variant


def to_instant(
    clock: dt.time, night: dt.date, time_zone: str, fold: Literal[0, 1] | None = None
) -> dt.datetime | Ambiguous | Missing:
    """The UTC instant at which local clocks showed `clock` during `night`.

    An explicit `fold` settles a time that came twice (0 the first, 1 the second) or
    not at all (0 the offset before the change, 1 the offset after it; PEP 495).
    """
    date = night if clock >= NOON else night + dt.timedelta(days=1)
    zone = ZoneInfo(time_zone)
    local = dt.datetime.combine(date, clock.replace(tzinfo=None, fold=0), tzinfo=zone)
    before, after = (local.replace(fold=fold).astimezone(dt.UTC) for fold in (0, 1))
    if before == after:
        return before
    if fold is not None:
        return (before, after)[fold]
    if before < after:
        return Ambiguous(first=before, second=after)
    return Missing(jumps_at=_change_between(after, before, zone), earlier=after, later=before)


def night_of(instant: dt.datetime, time_zone: str) -> dt.date:
    """The night that holds an instant: the local date, half a day back."""
    local = instant.astimezone(ZoneInfo(time_zone)).replace(tzinfo=None)
    return (local - _HALF_DAY).date()


# The sheets of an archive say the same few times over and over.
@lru_cache(maxsize=2048)
def parse_clock(text: str) -> dt.time:
    """Read a typed clock time: `21:14`, `21.14`, `2114`, `9:14 pm`, `9 pm`, `21:14:30`, `noon`.

    `24:00` is midnight. Raises ClockError.
    """
    typed = text.strip().lower()
    if typed in _NAMED:
        return _NAMED[typed]
    half = _HALF.search(typed)
    digits = typed[: half.start()] if half else typed
    match = _WITH_SEPARATOR.fullmatch(digits) or _DIGITS_ONLY.fullmatch(digits)
    if match is None and half:
        match = _HOUR_ONLY.fullmatch(digits)
    if match is None:
        raise ClockError("clock")
    hour, minute, second = (int(part or 0) for part in (*match.groups(), None, None)[:3])
    if half:
        hour = _hour_of_half(hour, half.group(1))
    if (hour, minute, second) == (24, 0, 0):
        hour = 0
    if hour > 23:
        raise ClockError("clock-hour")
    if minute > 59 or second > 59:
        raise ClockError("clock-minute")
    return dt.time(hour, minute, second)


def _hour_of_half(hour: int, half: str) -> int:
    if not 1 <= hour <= 12:
        raise ClockError("clock-half")
    return hour % 12 + (12 if half == "p" else 0)


def _change_between(low: dt.datetime, high: dt.datetime, zone: ZoneInfo) -> dt.datetime:
    """The first second after `low` at which the zone has its new offset."""
    old = low.astimezone(zone).utcoffset()
    while high - low > _SECOND:
        middle = low + (high - low) // 2
        middle = middle.replace(microsecond=0)
        if middle.astimezone(zone).utcoffset() == old:
            low = middle
        else:
            high = middle
    return high
