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
from surveys.programs.assignments import current_season_year
from surveys.programs.schedule import (
    Schedule,
    schedule,
)
from surveys.seasons.coverage import (
    Coverage,
    coverage_of,
    tonight,
    window_visits,
)
from surveys.seasons.listening import (
    ALL_SPECIES,
    ONE_SPECIES,
)
from surveys.seasons.options import routes_of
from surveys.seasons.query import fetch

_BY_ROUTE_AND_YEAR = """, effort AS (
    SELECT route_id, season_year,
           count(DISTINCT stop_id) AS stops_listened,
           count(DISTINCT visit_id) AS visits,
           count(*) AS periods
    FROM listened
    GROUP BY route_id, season_year
), stops_heard AS (
    SELECT route_id, season_year, stop_id, max(call_index) AS highest_index
    FROM heard
    GROUP BY route_id, season_year, stop_id
), detections AS (
    SELECT route_id, season_year,
           count(*) AS stops_detected,
           max(highest_index) AS highest_index
    FROM stops_heard
    GROUP BY route_id, season_year
), species_counts AS (
    SELECT route_id, season_year, count(DISTINCT species_id) AS species_heard
    FROM heard
    GROUP BY route_id, season_year
)
SELECT e.route_id, e.season_year, e.stops_listened, e.visits, e.periods,
       coalesce(d.stops_detected, 0) AS stops_detected,
       coalesce(d.highest_index, 0) AS highest_index,
       coalesce(s.species_heard, 0) AS species_heard
FROM effort e
LEFT JOIN detections d USING (route_id, season_year)
LEFT JOIN species_counts s USING (route_id, season_year)
"""
ROUTE_YEARS = ALL_SPECIES + _BY_ROUTE_AND_YEAR
ROUTE_YEARS_OF_SPECIES = ONE_SPECIES + _BY_ROUTE_AND_YEAR


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
    # Entries of the checklist, and others that were written down.
    species_heard: int = 0


@dataclass(frozen=True, kw_only=True)
class RouteRow:
    """`cells` follow `RouteYears.years`; None where nothing was due and nothing done."""

    route_id: int
    code: str
    name: str
    region: str
    stratum: str
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


def years_to_now(program: Program, today: dt.date | None = None) -> tuple[int, ...]:
    """`season_years`, and on to the season year that runs: one without a visit is listed, too."""
    years = season_years(program)
    if not years:
        return ()
    return tuple(range(years[0], max(years[-1], current_season_year(program, today)) + 1))


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
        for year in years_to_now(program, today)
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
    counts_of = {(row.route_id, row.season_year): row for row in counts}
    visits = window_visits(routes, first_year=years[0], last_year=years[-1])
    plan = schedule(program, routes)

    def cell(route: Route, year: int) -> RouteYear | None:
        return _cell(
            year, counts_of.get((route.pk, year)), *_windows(plan, visits, route, year, today)
        )

    return RouteYears(
        years=years,
        rows=tuple(
            RouteRow(
                route_id=route.pk,
                code=route.code,
                name=route.name,
                region=route.region,
                stratum=route.stratum,
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
        species_heard=counts.species_heard if counts else 0,
    )
