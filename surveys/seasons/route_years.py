"""Route × season year: what was heard, how much was listened, where the gaps are."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Max, Min

from surveys.models import (
    Program,
    Route,
    Species,
    Visit,
    VisitState,
)
from surveys.seasons.coverage import (
    Coverage,
    coverage_of,
    tonight,
    window_visits,
)
from surveys.seasons.query import fetch
from surveys.seasons.schedule import (
    Schedule,
    schedule,
)

# All species together. Effort is read from the listening periods alone and what was
# heard from the call rows alone, so that silent stops cost no join with the calls.
ROUTE_YEARS = """
WITH effort AS (
    SELECT v.route_id, v.season_year,
           count(DISTINCT p.stop_id) AS stops_listened,
           count(DISTINCT v.id) AS visits,
           count(*) AS periods
    FROM surveys_visit v
    JOIN surveys_listeningperiod p ON p.visit_id = v.id AND p.counts_in_trends
    WHERE v.counts_in_trends
      AND v.route_id = ANY(%(routes)s)
      AND v.season_year BETWEEN %(first_year)s AND %(last_year)s
    GROUP BY v.route_id, v.season_year
), stops_heard AS (
    SELECT v.route_id, v.season_year, p.stop_id, max(c.index) AS best
    FROM surveys_visit v
    JOIN surveys_listeningperiod p ON p.visit_id = v.id AND p.counts_in_trends
    JOIN surveys_callindex c ON c.period_id = p.id AND c.counts_in_trends
    WHERE v.counts_in_trends
      AND v.route_id = ANY(%(routes)s)
      AND v.season_year BETWEEN %(first_year)s AND %(last_year)s
    GROUP BY v.route_id, v.season_year, p.stop_id
), heard AS (
    SELECT route_id, season_year, count(*) AS stops_detected, max(best) AS best
    FROM stops_heard
    GROUP BY route_id, season_year
)
SELECT e.route_id, e.season_year, e.stops_listened, e.visits, e.periods,
       coalesce(h.stops_detected, 0) AS stops_detected,
       coalesce(h.best, 0) AS highest_index
FROM effort e
LEFT JOIN heard h USING (route_id, season_year)
"""

# One species. A period is heard (a call row that counts), silent (no call row, and the
# species on the checklist that night) or missing for the species, and then not here.
ROUTE_YEARS_OF_SPECIES = """
SELECT v.route_id, v.season_year,
       count(DISTINCT p.stop_id) AS stops_listened,
       count(DISTINCT v.id) AS visits,
       count(*) AS periods,
       count(DISTINCT p.stop_id) FILTER (WHERE c.index >= 1) AS stops_detected,
       coalesce(max(c.index), 0) AS highest_index
FROM surveys_visit v
JOIN surveys_listeningperiod p ON p.visit_id = v.id AND p.counts_in_trends
LEFT JOIN surveys_checklistentry e
       ON e.program_id = %(program)s AND e.species_id = %(species)s
      AND (e.listed_from IS NULL OR v.night >= e.listed_from)
      AND (e.listed_until IS NULL OR v.night <= e.listed_until)
LEFT JOIN surveys_callindex c ON c.period_id = p.id AND c.species_id = %(species)s
WHERE v.counts_in_trends
  AND v.route_id = ANY(%(routes)s)
  AND v.season_year BETWEEN %(first_year)s AND %(last_year)s
  AND (c.counts_in_trends OR (c.id IS NULL AND e.id IS NOT NULL))
GROUP BY v.route_id, v.season_year
"""


@dataclass(frozen=True, kw_only=True)
class RouteYear:
    """One route in one season year.

    `highest_index` is None where nobody listened, 0 where nothing was heard. A
    `gap` is a year in which a window closed and no visit counts.
    """

    season_year: int
    highest_index: int | None
    stops_detected: int
    stops_listened: int
    visits: int
    periods: int
    windows_done: int
    windows_due: int
    gap: bool


@dataclass(frozen=True, kw_only=True)
class RouteRow:
    """`cells` follow `RouteYears.years`; None where nothing was due and nothing done."""

    route_id: int
    code: str
    name: str
    region: str
    cells: tuple[RouteYear | None, ...]


@dataclass(frozen=True, kw_only=True)
class RouteYears:
    years: tuple[int, ...]
    rows: tuple[RouteRow, ...]


def season_years(program: Program) -> tuple[int, ...]:
    """Every season year from the first submitted visit to the last; gaps included."""
    span = (
        Visit.objects.filter(route__program=program)
        .exclude(state=VisitState.DRAFT)
        .aggregate(first=Min("season_year"), last=Max("season_year"))
    )
    if span["first"] is None:
        return ()
    return tuple(range(span["first"], span["last"] + 1))


def routes_of(program: Program, *, region: str | None = None):
    """The routes of a program in order of their code, as a queryset."""
    routes = Route.objects.filter(program=program).order_by("code")
    return routes.filter(region=region) if region else routes


def route_years(
    program: Program,
    *,
    species: Species | None = None,
    region: str | None = None,
    first_year: int | None = None,
    last_year: int | None = None,
    routes: Sequence[Route] | None = None,
    today: dt.date | None = None,
) -> RouteYears:
    """Routes × season years, for one species or for all together.

    `routes` limits the table to some routes of the program, such as one page.
    """
    routes = list(routes_of(program, region=region)) if routes is None else list(routes)
    today = today or tonight(program)
    years = tuple(
        year
        for year in season_years(program)
        if (first_year is None or year >= first_year) and (last_year is None or year <= last_year)
    )
    if not years or not routes:
        return RouteYears(years=years, rows=())
    counts = fetch(
        ROUTE_YEARS if species is None else ROUTE_YEARS_OF_SPECIES,
        {
            "program": program.pk,
            "species": species.pk if species else None,
            "routes": [route.pk for route in routes],
            "first_year": years[0],
            "last_year": years[-1],
        },
    )
    found = {(row.route_id, row.season_year): row for row in counts}
    visits = window_visits(routes, first_year=years[0], last_year=years[-1])
    plan = schedule(program, routes)

    def cell(route: Route, year: int) -> RouteYear | None:
        return _cell(year, found.get((route.pk, year)), *_windows(plan, visits, route, year, today))

    return RouteYears(
        years=years,
        rows=tuple(
            RouteRow(
                route_id=route.pk,
                code=route.code,
                name=route.name,
                region=route.region,
                cells=tuple(cell(route, year) for year in years),
            )
            for route in routes
        ),
    )


def _windows(plan: Schedule, visits, route: Route, year: int, today: dt.date):
    """How many windows of a route are done, due so far and due in all."""
    states = [
        coverage_of(window, visits.get((route.pk, year, window.name), {}), today)
        for window in plan.due(route.pk, year)
    ]
    return (
        states.count(Coverage.DONE),
        states.count(Coverage.MISSED),
        len(states),
    )


def _cell(year: int, counts, done: int, missed: int, due: int) -> RouteYear | None:
    if counts is None and not due:
        return None
    return RouteYear(
        season_year=year,
        highest_index=counts.highest_index if counts else None,
        stops_detected=counts.stops_detected if counts else 0,
        stops_listened=counts.stops_listened if counts else 0,
        visits=counts.visits if counts else 0,
        periods=counts.periods if counts else 0,
        windows_done=done,
        windows_due=due,
        gap=counts is None and missed > 0,
    )
