"""Dates and clock times as the reader's program writes them; the phone's are in `rules/words.js`.

Which way that is follows from the program whose page, mail or job is under way. It is set in
one place for each (`using`), as a language is. Files for machines take no part in it: they are
ISO 8601 throughout.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol
from zoneinfo import ZoneInfo

from surveys.language import gettext, gettext_noop, said

MONTHS = (
    gettext_noop("January"),
    gettext_noop("February"),
    gettext_noop("March"),
    gettext_noop("April"),
    gettext_noop("May"),
    gettext_noop("June"),
    gettext_noop("July"),
    gettext_noop("August"),
    gettext_noop("September"),
    gettext_noop("October"),
    gettext_noop("November"),
    gettext_noop("December"),
)
SHORT_MONTHS = (
    gettext_noop("Jan"),
    gettext_noop("Feb"),
    gettext_noop("Mar"),
    gettext_noop("Apr"),
    gettext_noop("May"),
    gettext_noop("Jun"),
    gettext_noop("Jul"),
    gettext_noop("Aug"),
    gettext_noop("Sep"),
    gettext_noop("Oct"),
    gettext_noop("Nov"),
    gettext_noop("Dec"),
)
WEEKDAYS = (
    gettext_noop("Monday"),
    gettext_noop("Tuesday"),
    gettext_noop("Wednesday"),
    gettext_noop("Thursday"),
    gettext_noop("Friday"),
    gettext_noop("Saturday"),
    gettext_noop("Sunday"),
)

_NO_BREAK = "\u00a0"

_YEAR_FIRST = re.compile(r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})")
_YEAR_LAST = re.compile(r"([0-9]{1,2})[-/.]([0-9]{1,2})[-/.]([0-9]{4})")
_DAY_NAMED = re.compile(r"([0-9]{1,2})\.?\s+([^\W\d_]{3,})\.?,?\s+([0-9]{4})")
_MONTH_NAMED = re.compile(r"([^\W\d_]{3,})\.?\s+([0-9]{1,2}),?\s+([0-9]{4})")

# Where the month is written first, as in the United States and its territories; where the year
# is; and where, besides the first, clocks have 12 hours (Unicode CLDR, from memory). Everywhere
# else: 24 hours, day first.
_MONTH_FIRST = frozenset(("AS", "GU", "MP", "PH", "PR", "UM", "US", "VI"))
_YEARS_FIRST = frozenset(("CA", "CN", "HU", "JP", "KR", "LT", "SE", "TW"))
_TWELVE_HOURS = _MONTH_FIRST | {"AU", "CA", "CO", "IN", "NZ", "SV"}


class ClockStyle(StrEnum):
    TWELVE = "12"
    TWENTY_FOUR = "24"


class DateOrder(StrEnum):
    MONTH_FIRST = "mdy"
    DAY_FIRST = "dmy"
    YEAR_FIRST = "ymd"


@dataclass(frozen=True, kw_only=True)
class DateStyle:
    """How dates and clock times are written, and the zone in which an instant has its day."""

    clock: ClockStyle = ClockStyle.TWENTY_FOUR
    order: DateOrder = DateOrder.DAY_FIRST
    time_zone: str = "UTC"


AMERICAN = DateStyle(clock=ClockStyle.TWELVE, order=DateOrder.MONTH_FIRST)


class DateError(ValueError):
    """A typed date that cannot be read, with the variant of the sentence that says why
    (`protocol/sentences/cells.py`)."""

    def __init__(self, variant: str) -> None:
        super().__init__(variant)
        self.variant = variant


class MonthAndDay(Protocol):
    """A date, or a day of the year."""

    @property
    def month(self) -> int: ...

    @property
    def day(self) -> int: ...


_STYLE: ContextVar[Callable[[], DateStyle]] = ContextVar("date style", default=DateStyle)


def style() -> DateStyle:
    return _STYLE.get()()


def use(chosen: DateStyle) -> None:
    """Write this way until the end of the `using` that is under way."""
    _STYLE.set(lambda: chosen)


@contextmanager
def using(chosen: DateStyle | Callable[[], DateStyle]) -> Iterator[None]:
    """Write this way inside the block. A function is asked when the first date is written."""
    before = _STYLE.set(chosen if callable(chosen) else lambda: chosen)
    try:
        yield
    finally:
        _STYLE.reset(before)


def usual_style(country_code: str, *, fahrenheit_and_miles: bool) -> DateStyle:
    """How people write in a country; where it is not known, in one with these units."""
    if not country_code:
        return AMERICAN if fahrenheit_and_miles else DateStyle()
    twelve = country_code in _TWELVE_HOURS
    if country_code in _MONTH_FIRST:
        order = DateOrder.MONTH_FIRST
    else:
        order = DateOrder.YEAR_FIRST if country_code in _YEARS_FIRST else DateOrder.DAY_FIRST
    return DateStyle(clock=ClockStyle.TWELVE if twelve else ClockStyle.TWENTY_FOUR, order=order)


def day(date: dt.date) -> str:
    """`April 15, 2024`; `15 April 2024`; `2024-04-15`. Of an instant, the day in the zone."""
    return _dated(date, MONTHS)


def short_day(date: dt.date) -> str:
    """`Apr 15, 2024`; `15 Apr 2024`; `2024-04-15`."""
    return _dated(date, SHORT_MONTHS)


def weekday_day(date: dt.date) -> str:
    """`Monday, April 15, 2024`, of a date."""
    return said("{weekday}, {day}", weekday=gettext(WEEKDAYS[date.weekday()]), day=day(date))


def month_day(date: MonthAndDay) -> str:
    """`December 1`, or `1 December` where the day comes first."""
    return _day_of_month(date, MONTHS)


def short_month_day(date: MonthAndDay) -> str:
    """`Dec 1`, or `1 Dec` where the day comes first."""
    return _day_of_month(date, SHORT_MONTHS)


def span(first: MonthAndDay, last: MonthAndDay) -> str:
    """`December 15 to March 15`."""
    return said("{first} to {last}", first=month_day(first), last=month_day(last))


def time_of_day(time: dt.time, *, seconds: bool = False) -> str:
    """`9:14 pm` or `21:14`, the minute that has begun. Noon and midnight go by their names
    where 12 hours are usual: few people agree on what 12:00 am is."""
    if style().clock is ClockStyle.TWENTY_FOUR:
        return f"{time:%H:%M:%S}" if seconds else f"{time:%H:%M}"
    if time.hour % 12 == time.minute == 0 and not (seconds and time.second):
        return gettext("noon") if time.hour else gettext("midnight")
    shown = f"{time.hour % 12 or 12}:{time:%M}" + (f":{time:%S}" if seconds else "")
    words = said("{time} am", time=shown) if time.hour < 12 else said("{time} pm", time=shown)
    return words.replace(" ", _NO_BREAK)


def clock(instant: dt.datetime, time_zone: str = "", *, seconds: bool = False) -> str:
    """Local clock time, in the program's zone unless another is given: `9:14 pm` or `21:14`."""
    local = instant.astimezone(ZoneInfo(time_zone or style().time_zone))
    return time_of_day(local.time(), seconds=seconds)


def moment(instant: dt.datetime, *, seconds: bool = False) -> str:
    """`Apr 15, 2024, 9:14 pm`."""
    return said("{day}, {time}", day=short_day(instant), time=clock(instant, seconds=seconds))


def read_date(text: str, order: DateOrder | None = None) -> dt.date:
    """The date that was typed: `2024-04-15`, `15 April 2024`, `April 15, 2024`; with the order
    that the program uses, `4/15/2024` too. Raises DateError."""
    typed = text.strip()
    if match := _YEAR_FIRST.fullmatch(typed):
        year, month, number = (int(part) for part in match.groups())
    elif match := _DAY_NAMED.fullmatch(typed):
        year, month, number = int(match[3]), _month(match[2]), int(match[1])
    elif match := _MONTH_NAMED.fullmatch(typed):
        year, month, number = int(match[3]), _month(match[1]), int(match[2])
    elif match := _YEAR_LAST.fullmatch(typed):
        if order in (None, DateOrder.YEAR_FIRST):
            raise DateError("date-order")
        first, second, year = (int(part) for part in match.groups())
        month, number = (first, second) if order is DateOrder.MONTH_FIRST else (second, first)
    else:
        raise DateError("date")
    try:
        return dt.date(year, month, number)
    except ValueError:
        raise DateError("calendar") from None


def in_digits(date: dt.date) -> str:
    """`4/15/2024`, `15/4/2024` or `2024-04-15`: the short form that `read_date` takes."""
    order = style().order
    if order is DateOrder.YEAR_FIRST:
        return date.isoformat()
    first, second = date.month, date.day
    if order is DateOrder.DAY_FIRST:
        first, second = second, first
    return f"{first}/{second}/{date.year}"


def _dated(date: dt.date, months: tuple[str, ...]) -> str:
    if isinstance(date, dt.datetime):
        date = date.astimezone(ZoneInfo(style().time_zone)).date()
    order = style().order
    if order is DateOrder.YEAR_FIRST:
        return date.isoformat()
    values = {"day": date.day, "month": gettext(months[date.month - 1]), "year": date.year}
    if order is DateOrder.MONTH_FIRST:
        return said("{month} {day}, {year}", **values)
    return said("{day} {month} {year}", **values)


def _day_of_month(date: MonthAndDay, months: tuple[str, ...]) -> str:
    values = {"day": date.day, "month": gettext(months[date.month - 1])}
    if style().order is DateOrder.DAY_FIRST:
        return said("{day} {month}", **values)
    return said("{month} {day}", **values)


def _month(name: str) -> int:
    """The number of a month by its name, in English or the reader's language, or the beginning
    of it; 0 when unknown."""
    typed = name.casefold()
    for number, month in enumerate(MONTHS, start=1):
        if any(known.casefold().startswith(typed) for known in (month, gettext(month))):
            return number
    return 0
