"""What is not decided yet when a season is closed."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db.models import QuerySet

from surveys.models import (
    Program,
    StoredFinding,
    Visit,
    VisitState,
)
from surveys.protocol.values import Severity
from surveys.seasons.coverage import (
    Coverage,
    coverage,
    tonight,
)

STILL_OPEN = (VisitState.SUBMITTED, VisitState.SENT_BACK)


@dataclass(frozen=True, kw_only=True)
class MissingVisit:
    """A window in which a visit to a route is due and not done. `missed`: it is over."""

    code: str
    name: str
    window: str
    opens: dt.date
    closes: dt.date
    missed: bool


def last_closed_season(program: Program, today: dt.date | None = None) -> int | None:
    """The latest season year with visits that count, of whose windows all are over."""
    years = (
        Visit.objects.counted(program)
        .order_by("-season_year")
        .values_list("season_year", flat=True)
        .distinct()
    )
    today = today or tonight(program)
    for season_year in years:
        rows = coverage(program, season_year, today=today).rows
        if all(cell.window.closes < today for row in rows for cell in row.cells if cell):
            return season_year
    return None


def open_visits(program: Program, season_year: int) -> QuerySet[Visit]:
    """Visits up to a season year that are not decided yet, oldest first."""
    return (
        Visit.objects.filter(
            route__program=program, season_year__lte=season_year, state__in=STILL_OPEN
        )
        .select_related("route", "observer")
        .order_by("night", "route__code")
    )


def missing_visits(program: Program, season_year: int) -> list[MissingVisit]:
    """By route and window."""
    table = coverage(program, season_year)
    return [
        MissingVisit(
            code=row.code,
            name=row.name,
            window=cell.window.name,
            opens=cell.window.opens,
            closes=cell.window.closes,
            missed=cell.coverage == Coverage.MISSED,
        )
        for row in table.rows
        for cell in row.cells
        if cell and cell.coverage in (Coverage.MISSED, Coverage.DUE)
    ]


def unsettled_queries(program: Program, season_year: int) -> QuerySet[StoredFinding]:
    """Queries that no coordinator has settled, on visits up to a season year."""
    return (
        StoredFinding.objects.filter(
            visit__route__program=program,
            visit__season_year__lte=season_year,
            visit__state__in=STILL_OPEN,
            severity=Severity.QUERY.value,
            settlement="",
        )
        .select_related("visit__route__program", "stop", "species")
        .order_by("visit__night", "visit__route__code", "pk")
    )
