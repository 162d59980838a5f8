"""Reading the clock cells of a stop: local clock times, and instants from a phone."""

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
    """An instant in UTC; `by_day` tells that it reads as the middle of the day."""

    instant: dt.datetime
    by_day: bool = False


class FoldWantedError(CellError):
    """The clock showed this time twice, and the sheet does not say which is meant."""


def read_clock(text: str, fold: str, *, night: dt.date, time_zone: str) -> ClockReading:
    """Read a clock cell and, where the time came twice, its fold cell.

    Raises CellError; FoldWantedError when only the fold is missing.
    """
    if _INSTANT.fullmatch(text.strip()):
        return ClockReading(instant=_read_instant(text))
    try:
        shown = parse_clock(text)
    except ClockError as error:
        message = str(error).removesuffix(_WRITE_IT).strip()
        if len(text) > len(quoted(text)):
            message = f"{quoted(text)} is not a clock time."
        raise CellError(message, _WRITE_IT) from None
    found = to_instant(shown, night, time_zone)
    if isinstance(found, Missing):
        raise _skipped(shown, found, time_zone)
    if isinstance(found, Ambiguous):
        found = _choose(shown, found, fold)
    by_day = shown.hour in _BY_DAY and not _NAMES_ITS_HALF.search(text.strip())
    return ClockReading(instant=found, by_day=by_day)


def evening_of(instant: dt.datetime, time_zone: str) -> str:
    """How to write a time of day when the other half of the day was meant."""
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


def _choose(shown: dt.time, found: Ambiguous, fold: str) -> dt.datetime:
    typed = fold.strip().casefold()
    if typed not in FOLDS:
        raise FoldWantedError(
            f"The clocks went back that night, so {shown:%H:%M} came twice.",
            "Say whether it was the first or the second time; clear the time if nobody remembers.",
            "clock-repeated",
        )
    return found.first if typed == "first" else found.second


def _skipped(shown: dt.time, found: Missing, time_zone: str) -> CellError:
    return CellError(
        f"The clocks went forward that night, so no clock showed {shown:%H:%M}.",
        f"Write {clock(found.later, time_zone)} if your watch was not put forward yet,"
        f" or {clock(found.earlier, time_zone)} if it was put forward too early.",
        "clock-skipped",
    )
