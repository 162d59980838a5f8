"""Template filters for dates and clock times, as the program of the page writes them.

Built in for every template. Django's `date` is for machines only: `datetime="{{ at|date:"c" }}"`.
"""

import datetime as dt

from django import template

from surveys import dates
from surveys.dates import MonthAndDay

register = template.Library()


@register.filter
def clock(instant: dt.datetime | None) -> str:
    """`9:14 pm`, or a dash when there is none."""
    return dates.clock(instant) if instant else "–"


@register.filter
def moment(instant: dt.datetime | None, seconds: str = "") -> str:
    """`Apr 15, 2024, 9:14 pm`; with `seconds`, `9:14:09 pm`."""
    return dates.moment(instant, seconds=bool(seconds)) if instant else ""


@register.filter
def day(date: dt.date | None) -> str:
    """`April 15, 2024`."""
    return dates.day(date) if date else ""


@register.filter
def short_day(date: dt.date | None) -> str:
    """`Apr 15, 2024`."""
    return dates.short_day(date) if date else ""


@register.filter
def weekday_day(date: dt.date) -> str:
    """`Monday, April 15, 2024`."""
    return dates.weekday_day(date)


@register.filter
def month_day(date: MonthAndDay) -> str:
    """`April 15`."""
    return dates.month_day(date)


@register.filter
def short_month_day(date: MonthAndDay) -> str:
    """`Apr 15`."""
    return dates.short_month_day(date)
