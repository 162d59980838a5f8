"""Coverage by window, and how many routes will have a visit by its end at today's pace."""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Min

from surveys.models import Program, Visit, VisitState
from surveys.programs.schedule import DueWindow
from surveys.seasons.coverage import IN_REVIEW_STATES, Coverage, CoverageTable

# Today's pace is that of the last two weeks; of less than five nights there is none.
PACE_NIGHTS = 14
FEWEST_NIGHTS = 5


@dataclass(frozen=True, kw_only=True)
class WindowOutlook:
    """One window of the season year over all routes that it is due on. `without_anyone`: routes
    whose visit can still be made and nobody will. `expected`: routes with a visit by its end at
    today's pace; None where the window is not open or has just opened."""

    window: DueWindow
    due: int
    done: int
    in_review: int
    without_anyone: int
    expected: int | None

    @property
    def handed_in(self) -> int:
        return self.done + self.in_review


def outlooks(program: Program, table: CoverageTable, today: dt.date) -> list[WindowOutlook]:
    """The windows in order of opening. Windows of one name with other dates stand apart."""
    states: dict[DueWindow, Counter[Coverage]] = defaultdict(Counter)
    gaps: Counter[DueWindow] = Counter()
    routes: dict[DueWindow, list[int]] = defaultdict(list)
    for row in table.rows:
        for cell in row.cells:
            if cell is not None:
                states[cell.window][cell.coverage] += 1
                gaps[cell.window] += cell.is_gap
                routes[cell.window].append(row.route_id)
    first = first_nights(program, table.season_year)
    in_order = sorted(states, key=lambda window: (window.opens, window.closes, window.name))
    return [
        WindowOutlook(
            window=window,
            due=len(routes[window]),
            done=states[window][Coverage.DONE],
            in_review=states[window][Coverage.IN_REVIEW],
            without_anyone=gaps[window],
            expected=expected(
                window,
                [
                    first[route, window.name]
                    for route in routes[window]
                    if (route, window.name) in first
                ],
                due=len(routes[window]),
                today=today,
            ),
        )
        for window in in_order
    ]


def expected(
    window: DueWindow, nights: Iterable[dt.date], *, due: int, today: dt.date
) -> int | None:
    """Routes with a visit by the end of the window if it goes on as in the last two weeks.

    `nights` are the first night of each route that has a visit. Never rounded up.
    """
    if not window.opens <= today <= window.closes:
        return None
    elapsed = min(PACE_NIGHTS, (today - window.opens).days + 1)
    if elapsed < FEWEST_NIGHTS:
        return None
    visited = list(nights)
    since = today - dt.timedelta(days=elapsed - 1)
    recent = sum(night >= since for night in visited)
    ahead = (window.closes - today).days
    return min(due, len(visited) + math.floor(recent * ahead / elapsed))


def first_nights(program: Program, season_year: int) -> Mapping[tuple[int, str], dt.date]:
    """The first night of each route and window with a visit that is submitted or accepted."""
    rows: Sequence[tuple[int, str, dt.date]] = (
        Visit.objects.filter(
            route__program=program,
            season_year=season_year,
            state__in=[VisitState.ACCEPTED, *IN_REVIEW_STATES],
        )
        .order_by()
        .values_list("route_id", "window")
        .annotate(first=Min("night"))
    )
    return {(route, window): night for route, window, night in rows}
