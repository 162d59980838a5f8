"""Season years and season windows on the calendar.

A season year is named after the calendar year in which it ends, so a season that
begins on 1 September 2024 and ends on 31 August 2025 is season year 2025. Every
comparison is made on (month, day), so a window may cross New Year like any other.
29 February in a year without one: a first day moves to 1 March, a last day to
28 February.
"""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Iterable

from surveys.protocol.values import (
    MonthDay,
    Protocol,
    SeasonWindow,
)

_ONE_DAY = dt.timedelta(days=1)
_LEAP_YEAR, _LEAP_YEAR_DAYS = 2024, 366


def first_day(year: int, day: MonthDay) -> dt.date:
    """The month-day in `year` as a first day."""
    return dt.date(year, day.month, 1) + dt.timedelta(days=day.day - 1)


def last_day(year: int, day: MonthDay) -> dt.date:
    """The month-day in `year` as a last day."""
    length = calendar.monthrange(year, day.month)[1]
    return dt.date(year, day.month, min(day.day, length))


def season_year(night: dt.date, begins: MonthDay) -> int:
    """Label of the season year that holds `night`."""
    began = night.year if first_day(night.year, begins) <= night else night.year - 1
    return (first_day(began + 1, begins) - _ONE_DAY).year


def season_bounds(year: int, begins: MonthDay) -> tuple[dt.date, dt.date]:
    """First and last night of season year `year`."""
    begun = year if season_year(first_day(year, begins), begins) == year else year - 1
    return first_day(begun, begins), first_day(begun + 1, begins) - _ONE_DAY


def in_days(night: dt.date, first: MonthDay, last: MonthDay) -> bool:
    """Whether `night` lies in the days of the year `first` to `last`, both included."""
    day = MonthDay(month=night.month, day=night.day)
    if first <= last:
        return first <= day <= last
    return day >= first or day <= last


def days_away(night: dt.date, first: MonthDay, last: MonthDay) -> int:
    """Days of a leap year from `night` to the nearest day of the days `first` to `last`; 0 within
    them.

    >>> days_away(dt.date(2026, 1, 5), MonthDay(month=3, day=1), MonthDay(month=12, day=31))
    5
    """
    if in_days(night, first, last):
        return 0
    day = MonthDay(month=night.month, day=night.day)
    return min(_days_after(day, first), _days_after(last, day))


def shortest_span(
    seasons: Iterable[tuple[MonthDay, MonthDay]],
) -> tuple[MonthDay, MonthDay] | None:
    """The fewest days of the year in a row, both ends included, that hold each of the seasons.

    None where only the whole year holds them, and where there is no season.

    >>> winter = MonthDay(month=12, day=1), MonthDay(month=2, day=28)
    >>> spring = MonthDay(month=2, day=1), MonthDay(month=4, day=30)
    >>> first, last = shortest_span([spring, winter])
    >>> first.month, last.month
    (12, 4)
    """
    given = list(seasons)
    spans = (
        (opens, closes)
        for opens, _ in given
        for _, closes in given
        if all(
            _days_after(opens, first) <= _days_after(opens, last) <= _days_after(opens, closes)
            for first, last in given
        )
    )
    return min(spans, key=lambda span: _days_after(*span), default=None)


def _days_after(first: MonthDay, day: MonthDay) -> int:
    """Days from one day of a leap year to the next other one."""
    ordinals = [dt.date(_LEAP_YEAR, one.month, one.day).timetuple().tm_yday for one in (first, day)]
    return (ordinals[1] - ordinals[0]) % _LEAP_YEAR_DAYS


def in_window(night: dt.date, window: SeasonWindow) -> bool:
    return in_days(night, window.opens, window.closes)


def window_of(night: dt.date, protocol: Protocol) -> SeasonWindow | None:
    """The first window of the protocol that holds `night`; None between windows."""
    return next((window for window in protocol.windows if in_window(night, window)), None)


def window_dates(window: SeasonWindow, year: int, begins: MonthDay) -> tuple[dt.date, dt.date]:
    """First and last night of `window` in season year `year`.

    The window belongs to the season year in which it opens.
    """
    begun, _ = season_bounds(year, begins)
    opens = begun.year if first_day(begun.year, window.opens) >= begun else begun.year + 1
    closes = opens if window.opens <= window.closes else opens + 1
    return first_day(opens, window.opens), last_day(closes, window.closes)
