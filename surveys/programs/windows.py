"""Whether the windows of a protocol fit each other and its season year."""

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from surveys.dates import month_day
from surveys.language import gettext, said
from surveys.protocol.seasons import (
    season_bounds,
    window_dates,
)
from surveys.protocol.values import (
    MonthDay,
    SeasonWindow,
)

# Every window is laid out in this season year; it and its neighbors hold a 29 February.
_SEASON_YEAR = 2024


def window_problems(windows: Sequence[SeasonWindow], begins: MonthDay) -> list[str]:
    """What is wrong, one sentence each; empty when all is well.

    A night may belong to one window only, and a window to one season year only.
    """
    if not windows:
        return [gettext("Add at least one survey window: without one no visit is ever due.")]
    problems = [
        said("Two windows are called “{name}”. Give each its own name.", name=name)
        for name, times in Counter(window.name.casefold() for window in windows).items()
        if times > 1
    ]
    dates = [(window, *window_dates(window, _SEASON_YEAR, begins)) for window in windows]
    _, ends = season_bounds(_SEASON_YEAR, begins)
    problems += [
        said(
            "The window “{window_name}” includes {month_day}, the start of the next season "
            "year. Start the season year on a day outside every window.",
            window_name=window.name,
            month_day=month_day(begins),
        )
        for window, _, closes in dates
        if closes > ends
    ]
    return problems + _overlaps(dates)


def _overlaps(dates: Sequence[tuple[SeasonWindow, dt.date, dt.date]]) -> list[str]:
    in_order = sorted(dates, key=lambda dated: dated[1])
    return [
        said(
            "The windows “{first_name}” and “{second_name}” overlap. A night can "
            "belong to one window only.",
            first_name=first.name,
            second_name=second.name,
        )
        for (first, _, closes), (second, opens, _) in pairwise(in_order)
        if opens <= closes
    ]
