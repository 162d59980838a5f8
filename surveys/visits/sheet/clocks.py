"""Reads the clock cells of a stop: local times, and instants from a phone."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from surveys.protocol.nights import (
    Ambiguous,
    ClockError,
    Missing,
    parse_clock,
    to_instant,
)
from surveys.protocol.params import Param
from surveys.visits.sheet.texts import (
    FIRST_YEAR,
    LAST_YEAR,
    CellError,
    shortened,
    unreadable,
)

FOLDS = ("first", "second")
_INSTANT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ].*", re.DOTALL)
_NAMES_ITS_HALF = re.compile(r"[ap]\.?\s*m\.?$", re.IGNORECASE)
_BY_DAY = range(6, 16)


@dataclass(frozen=True, kw_only=True)
class ClockReading:
    """An instant in UTC; `by_day` is true when the text means a time in the middle of the day."""

    instant: dt.datetime
    by_day: bool = False


class FoldWantedError(CellError):
    """The clock showed this time twice that night, and the sheet does not say which is meant."""


def read_clock(text: str, fold: str, *, night: dt.date, time_zone: str) -> ClockReading:
    """Read a clock cell and, when the clock showed the time twice, its fold cell.

    Raises CellError; FoldWantedError when only the fold is missing.
    """
    if _INSTANT.fullmatch(text.strip()):
        return ClockReading(instant=_read_instant(text))
    try:
        clock_time = parse_clock(text)
    except ClockError as error:
        raise unreadable(error.variant, text) from None
    instant = to_instant(clock_time, night, time_zone)
    if isinstance(instant, Missing):
        raise CellError(
            "clock-skipped",
            time=_time_of_day(clock_time),
            later=_time_of_day(_local(instant.later, time_zone)),
            earlier=_time_of_day(_local(instant.earlier, time_zone)),
        )
    if isinstance(instant, Ambiguous):
        instant = _choose_fold(clock_time, instant, fold)
    by_day = clock_time.hour in _BY_DAY and not _NAMES_ITS_HALF.search(text.strip())
    return ClockReading(instant=instant, by_day=by_day)


def other_half_of_day(instant: dt.datetime, time_zone: str) -> str:
    """How to write the same clock time in the other half of the day."""
    local = _local(instant, time_zone)
    other = (local.hour + 12) % 24
    half = "am" if other < 12 else "pm"
    return f"{other:02}:{local.minute:02} or {(other % 12) or 12}:{local.minute:02} {half}"


def _read_instant(text: str) -> dt.datetime:
    try:
        instant = dt.datetime.fromisoformat(text.strip().upper().replace(" ", "T", 1))
    except ValueError:
        raise unreadable("instant", text) from None
    if instant.tzinfo is None:
        raise unreadable("time-zone", text)
    if not FIRST_YEAR <= instant.year <= LAST_YEAR:
        raise CellError("cell-out-of-range", "instant", typed=shortened(text))
    return instant.astimezone(dt.UTC)


def _choose_fold(clock_time: dt.time, repeated: Ambiguous, fold: str) -> dt.datetime:
    typed = fold.strip().casefold()
    if typed not in FOLDS:
        raise FoldWantedError("clock-repeated", time=_time_of_day(clock_time))
    return repeated.first if typed == "first" else repeated.second


def _local(instant: dt.datetime, time_zone: str) -> dt.time:
    return instant.astimezone(ZoneInfo(time_zone)).time()


def _time_of_day(time: dt.time) -> Param:
    return {"time_of_day": f"{time:%H:%M}"}
