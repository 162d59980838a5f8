"""Which season years the demo covers, and how they are numbered."""

import datetime as dt
from dataclasses import dataclass

from surveys.protocol.seasons import season_bounds, season_year, window_dates
from surveys.protocol.values import Protocol


@dataclass(frozen=True, kw_only=True)
class Season:
    """A season year. `number` counts from 1 up to the stated number of seasons at the
    last complete one, so that a demo of few years shows the end of the story."""

    year: int
    number: int


def seasons_until(
    protocol: Protocol, until: dt.date, *, stated: int, years: int
) -> tuple[Season, ...]:
    """The last `years` complete season years and the one that has begun since."""
    running = season_year(until, protocol.season_year_begins)
    last_window_closes = max(
        window_dates(window, running, protocol.season_year_begins)[1] for window in protocol.windows
    )
    complete = running if last_window_closes <= until else running - 1
    return tuple(
        Season(year=year, number=stated - (complete - year))
        for year in range(complete - years + 1, running + 1)
    )


def first_night(protocol: Protocol, season: Season) -> dt.date:
    return season_bounds(season.year, protocol.season_year_begins)[0]


def days_between(a: dt.date, month: int, day: int) -> int:
    """Days from `a` to the nearest such day of the year, before or after it."""
    distances = (
        abs((a - dt.date(year, month, day)).days) for year in (a.year - 1, a.year, a.year + 1)
    )
    return min(distances)
