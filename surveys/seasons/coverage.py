"""Coverage: for every route and window of a season year, is the visit done, and who will go?"""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from django.db.models import Count
from django.utils import timezone

from surveys.models import (
    Program,
    Route,
    Visit,
    VisitState,
)
from surveys.programs.cover import Cover, SeasonPlan
from surveys.programs.schedule import (
    DueWindow,
    schedule,
)
from surveys.protocol.nights import night_of
from surveys.seasons.options import routes_of


class Coverage(StrEnum):
    """What became of the visit that is due in a window."""

    DONE = "done"
    IN_REVIEW = "in review"
    DUE = "due"
    MISSED = "missed"
    AHEAD = "not open yet"


IN_REVIEW_STATES = (VisitState.SUBMITTED, VisitState.SENT_BACK)

# Visits by (route, season year, window name) and state.
WindowVisits = Mapping[tuple[int, int, str], Mapping[str, int]]


@dataclass(frozen=True, kw_only=True)
class CoverageCell:
    window: DueWindow
    coverage: Coverage
    visits: int
    cover: Cover = field(default_factory=Cover)

    @property
    def is_gap(self) -> bool:
        """Whether a visit can still be made, and nobody will."""
        return self.coverage in (Coverage.DUE, Coverage.AHEAD) and not self.cover.is_covered


@dataclass(frozen=True, kw_only=True)
class CoverageRow:
    """`cells` follow `CoverageTable.windows`; None where the route owes nothing."""

    route_id: int
    code: str
    name: str
    region: str
    stratum: str
    cells: tuple[CoverageCell | None, ...]


@dataclass(frozen=True, kw_only=True)
class CoverageTable:
    """`plan` is who surveys the routes."""

    season_year: int
    plan: SeasonPlan = field(repr=False)
    windows: tuple[str, ...]
    rows: tuple[CoverageRow, ...]
    totals: Mapping[Coverage, int]


def tonight(program: Program) -> dt.date:
    """The night that is running, or the one last ended, at the program's place."""
    return night_of(timezone.now(), program.time_zone)


def coverage(
    program: Program,
    season_year: int,
    *,
    region: str | None = None,
    stratum: str | None = None,
    today: dt.date | None = None,
) -> CoverageTable:
    """Windows × routes of one season year. Windows of the same name share a column."""
    today = today or tonight(program)
    routes = list(routes_of(program, region=region, stratum=stratum))
    plan = schedule(program, routes)
    visits = window_visits(routes, first_year=season_year, last_year=season_year)
    due = {route.pk: plan.due(route.pk, season_year) for route in routes}
    people = SeasonPlan(program, season_year, today)
    names = _names_in_order(due.values())
    rows, totals = [], dict.fromkeys(Coverage, 0)
    for route in routes:
        if not due[route.pk]:
            continue
        cells = {}
        for window in due[route.pk]:
            states = visits.get((route.pk, season_year, window.name), {})
            cell = CoverageCell(
                window=window,
                coverage=coverage_of(window, states, today),
                visits=sum(states.values()),
                cover=people.cover(route.pk, window),
            )
            cells[window.name] = cell
            totals[cell.coverage] += 1
        rows.append(
            CoverageRow(
                route_id=route.pk,
                code=route.code,
                name=route.name,
                region=route.region,
                stratum=route.stratum,
                cells=tuple(cells.get(name) for name in names),
            )
        )
    return CoverageTable(
        season_year=season_year,
        plan=people,
        windows=names,
        rows=tuple(rows),
        totals=totals,
    )


def coverage_of(window: DueWindow, states: Mapping[str, int], today: dt.date) -> Coverage:
    """One accepted visit makes a window done, however many others there are."""
    if states.get(VisitState.ACCEPTED):
        return Coverage.DONE
    if any(states.get(state) for state in IN_REVIEW_STATES):
        return Coverage.IN_REVIEW
    if window.closes < today:
        return Coverage.MISSED
    return Coverage.DUE if window.opens <= today else Coverage.AHEAD


def window_visits(routes: Iterable[Route], *, first_year: int, last_year: int) -> WindowVisits:
    """How many visits each window has, by state. Drafts and visits set aside do not count."""
    counts: dict[tuple[int, int, str], dict[str, int]] = {}
    rows = (
        Visit.objects.filter(
            route__in=[route.pk for route in routes],
            season_year__range=(first_year, last_year),
            state__in=[VisitState.ACCEPTED, *IN_REVIEW_STATES],
        )
        .order_by()
        .values_list("route_id", "season_year", "window", "state")
        .annotate(visits=Count("pk"))
    )
    for route_id, year, window, state, visits in rows:
        counts.setdefault((route_id, year, window), {})[state] = visits
    return counts


def _names_in_order(due: Iterable[tuple[DueWindow, ...]]) -> tuple[str, ...]:
    opens: dict[str, dt.date] = {}
    for windows in due:
        for window in windows:
            opens[window.name] = min(window.opens, opens.get(window.name, window.opens))
    return tuple(sorted(opens, key=lambda name: (opens[name], name)))
