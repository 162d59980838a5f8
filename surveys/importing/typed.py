"""Cells of a spreadsheet put the way the sheet is typed: dates, clocks, units.

Each function returns the text for the sheet, or raises a CellError with words for
whoever made the spreadsheet. What the sheet can read by itself passes unchanged.
"""

import datetime as dt
import re
from collections.abc import Callable
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache

from surveys.dates import day
from surveys.importing.parsed import clock_of
from surveys.importing.problems import EntryError
from surveys.language import gettext, said
from surveys.protocol.nights import ClockError, parse_clock
from surveys.protocol.weather import (
    beaufort_from_speed,
    meters_per_second_from_kmh,
    meters_per_second_from_knots,
    meters_per_second_from_mph,
)
from surveys.visits.sheet.texts import (
    CellError,
    is_missing,
    is_trace,
    quoted,
    rain_is_missing,
    read_night,
    read_number,
)

_SLASHED = re.compile(r"(\d{1,2})[/.-](\d{1,2})[/.-](\d{2}|\d{4})")
_WEEKDAY = re.compile(r"(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*\.?,?\s+(?=.*\d)", re.IGNORECASE)
_DIGITS_ALONE = re.compile(r"((?:19|20)\d{2})(\d{2})(\d{2})")
_MONTH_IN_LETTERS = re.compile(r"(\d{1,2})[\s./-]+([^\W\d_]{3,})\.?[\s,./-]+(\d{2}|\d{4})")
_MONTH_BEFORE_DAY = re.compile(r"([^\W\d_]{3,})\.?[\s./-]+(\d{1,2})[\s,./-]+(\d{2}|\d{4})")
_ORDINAL = re.compile(r"(?<=\d)(?:st|nd|rd|th)\b(?:\s+of\b)?", re.IGNORECASE)
_WITH_CLOCK = re.compile(r"(.*\d)[ T]+\d{1,2}:\d{2}(?::\d{2})?(?:\s*[ap]\.?m\.?)?", re.IGNORECASE)
_DATED_CLOCK = re.compile(r"(\d{4}-\d{2}-\d{2})[ T]+(\d{1,2}:\d{2}(?::\d{2})?)")
_FOLDED = re.compile(r"(.*\S)\s+(first|second)", re.IGNORECASE)
_DAY_SHARE = re.compile(r"0?\.\d{2,}")
_NAMES_ITS_UNIT = re.compile(r".*(?:°|º|deg)?\s*[cf]", re.IGNORECASE)
_NAMES_ITS_RAIN = re.compile(r".*(?:mm|in|inch|inches|\")", re.IGNORECASE)
_ONE_DAY = dt.timedelta(days=1)
_LATEST_EVENING_HOUR = 11
_EARLIEST_EVENING_HOUR = 6

_SPEEDS: dict[str, Callable[[Decimal], Decimal]] = {
    "mph": meters_per_second_from_mph,
    "kmh": meters_per_second_from_kmh,
    "ms": lambda speed: speed,
    "knots": meters_per_second_from_knots,
}


def read_date(text: str, form: str, *, latest_year: int) -> dt.date:
    """The date of a cell. A clock time behind it is left out. Two-digit years are the
    last ones that are not after `latest_year`."""
    typed = text.strip()
    if match := _WITH_CLOCK.fullmatch(typed):
        typed = match[1].strip()
    typed = _plain_date(typed, latest_year)
    slashed = _SLASHED.fullmatch(typed)
    if form == "ymd" or slashed is None:
        if slashed:
            raise EntryError(
                said("{quoted} does not begin with the year.", quoted=quoted(text)),
                gettext("Choose for this column whether the day or the month comes first."),
            )
        return read_night(typed)
    first, second, year = int(slashed[1]), int(slashed[2]), int(slashed[3])
    if len(slashed[3]) == 2:
        year = _full_year(year, latest_year)
    day, month = (first, second) if form == "dmy" else (second, first)
    try:
        return dt.date(year, month, day)
    except ValueError:
        order = gettext("day first") if form == "dmy" else gettext("month first")
        raise EntryError(
            said(
                "{quoted} is not a date when read {order}.",
                quoted=quoted(text),
                order=order,
            ),
            gettext("Correct the date, or choose the other order for the column."),
        ) from None


def _plain_date(typed: str, latest_year: int) -> str:
    """`Thu 16-Feb-12`, `20120216` and `16th of February 2012` as a sheet of ours has them."""
    plain = _ORDINAL.sub("", _WEEKDAY.sub("", typed))
    if match := _DIGITS_ALONE.fullmatch(plain):
        return "-".join(match.groups())
    if match := _MONTH_IN_LETTERS.fullmatch(plain):
        day, month, year = match.groups()
    elif match := _MONTH_BEFORE_DAY.fullmatch(plain):
        month, day, year = match.groups()
    else:
        return plain
    full = _full_year(int(year), latest_year) if len(year) == 2 else int(year)
    return f"{day} {month} {full}"


def _full_year(two_digits: int, latest_year: int) -> int:
    return two_digits + (2000 if 2000 + two_digits <= latest_year else 1900)


def clock_cells(text: str, form: str, night: dt.date) -> tuple[str, str]:
    """The clock text and, where the cell says `first` or `second`, the fold text."""
    typed, fold = text.strip(), ""
    if match := _FOLDED.fullmatch(typed):
        typed, fold = match[1], match[2].casefold()
    if match := _DATED_CLOCK.fullmatch(typed):
        date = dt.date.fromisoformat(match[1])
        if date not in (night, night + _ONE_DAY):
            raise EntryError(
                said(
                    "{quoted} is not on the night of {night}.",
                    quoted=quoted(text),
                    night=day(night),
                ),
                gettext("Correct the time or the date of the evening."),
            )
        typed = match[2]
    if _DAY_SHARE.fullmatch(typed):
        typed = clock_of(round(Decimal(typed) * 86_400)).isoformat("minutes")
    if form == "12h":
        typed = _evening_clock(typed)
    return typed, fold


def _evening_clock(typed: str) -> str:
    """9:14 is 21:14 and 12:05 is 00:05; what names its half, or is past noon, stays."""
    if re.search(r"[ap]\.?\s*m\.?$", typed, re.IGNORECASE):
        return typed
    try:
        clock = parse_clock(typed)
    except ClockError:
        return typed
    if _EARLIEST_EVENING_HOUR <= clock.hour <= _LATEST_EVENING_HOUR:
        return clock.replace(hour=clock.hour + 12).isoformat("minutes")
    if clock.hour == 12:
        return clock.replace(hour=0).isoformat("minutes")
    return typed


def _has_a_digit(text: str) -> bool:
    return any(sign.isdigit() for sign in text)


def temperature_text(text: str, form: str) -> str:
    """With the unit of its column, unless the cell names its own or is no number at all: what is
    wrong is quoted as it was written."""
    typed = text.strip()
    if is_missing(typed) or _NAMES_ITS_UNIT.fullmatch(typed) or not _has_a_digit(typed):
        return typed
    return f"{typed} °{form}"


def wind_text(text: str, form: str) -> str:
    """The Beaufort force; a range of speeds such as `4-7` is taken at its middle."""
    typed = text.strip()
    if is_missing(typed) or form == "beaufort":
        return typed
    parts = re.split(r"\s*[-–]\s*", typed)
    speeds = [read_number(part) for part in parts]
    if len(speeds) > 2 or min(speeds) < 0:
        raise EntryError(
            said("{quoted} is not a wind speed.", quoted=quoted(text)),
            gettext("Write a number, such as 7."),
        )
    middle = sum(speeds, Decimal(0)) / len(speeds)
    return str(beaufort_from_speed(_SPEEDS[form](middle)))


def rain_text(text: str, form: str) -> str:
    """The amount with its unit. `T`, a trace, stays a trace of rain in that unit."""
    typed = text.strip()
    if rain_is_missing(typed) or _NAMES_ITS_RAIN.fullmatch(typed):
        return typed
    if not _has_a_digit(typed) and not is_trace(typed):
        return typed
    return f"{typed} {form}"


# An archive has millions of cells, most of them 0 to 3.
@lru_cache(maxsize=1024)
def whole_number_text(text: str) -> str:
    """`3.0` is how some programs write 3."""
    typed = text.strip()
    try:
        number = read_number(typed)
    except CellError:
        return typed
    if number == number.to_integral_value():
        return str(int(number.to_integral_value(ROUND_HALF_UP)))
    return typed
