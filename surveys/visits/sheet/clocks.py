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
from surveys.protocol.words import clock
from surveys.visits.sheet.texts import (
    FIRST_YEAR,
    LAST_YEAR,
    CellError,
    quoted,
)

FOLDS = ("first", "second")
_INSTANT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ].*", re.DOTALL)
_NAMES_ITS_HALF = re.compile(r"[ap]\.?\s*m\.?$", re.IGNORECASE)
_BY_DAY = range(6, 16)
_WRITE_IT = "Write it as 21:14 or 9:14 pm."


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
        message = str(error).removesuffix(_WRITE_IT).strip()
        if len(text) > len(quoted(text)):
            message = f"{quoted(text)} is not a clock time."
        raise CellError(message, _WRITE_IT) from None
    instant = to_instant(clock_time, night, time_zone)
    if isinstance(instant, Missing):
        raise _skipped_hour_error(clock_time, instant, time_zone)
    if isinstance(instant, Ambiguous):
        instant = _choose_fold(clock_time, instant, fold)
    by_day = clock_time.hour in _BY_DAY and not _NAMES_ITS_HALF.search(text.strip())
    return ClockReading(instant=instant, by_day=by_day)


def other_half_of_day(instant: dt.datetime, time_zone: str) -> str:
    """How to write the same clock time in the other half of the day."""
    local = instant.astimezone(ZoneInfo(time_zone))
    other = (local.hour + 12) % 24
    half = "am" if other < 12 else "pm"
    return f"{other:02}:{local.minute:02} or {(other % 12) or 12}:{local.minute:02} {half}"


def _read_instant(text: str) -> dt.datetime:
    remedy = "Write a clock time such as 21:14, or an instant such as 2024-04-16T02:14:00Z."
    try:
        instant = dt.datetime.fromisoformat(text.strip().upper().replace(" ", "T", 1))
    except ValueError:
        raise CellError(f"{quoted(text)} is not an instant.", remedy) from None
    if instant.tzinfo is None:
        raise CellError(f"{quoted(text)} does not say its time zone.", remedy)
    if not FIRST_YEAR <= instant.year <= LAST_YEAR:
        raise CellError(f"{quoted(text)} is not in this age.", remedy, "cell-out-of-range")
    return instant.astimezone(dt.UTC)


def _choose_fold(clock_time: dt.time, repeated: Ambiguous, fold: str) -> dt.datetime:
    typed = fold.strip().casefold()
    if typed not in FOLDS:
        raise FoldWantedError(
            f"The clocks went back that night, so {clock_time:%H:%M} came twice.",
            "Say whether it was the first or the second time; clear the time if nobody remembers.",
            "clock-repeated",
        )
    return repeated.first if typed == "first" else repeated.second


def _skipped_hour_error(clock_time: dt.time, skipped: Missing, time_zone: str) -> CellError:
    return CellError(
        f"The clocks went forward that night, so no clock showed {clock_time:%H:%M}.",
        f"Write {clock(skipped.later, time_zone)} if your watch was not put forward yet,"
        f" or {clock(skipped.earlier, time_zone)} if it was put forward too early.",
        "clock-skipped",
    )
