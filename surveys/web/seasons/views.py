"""Seasons: route × season year, coverage by window, the map, and the visits behind a number."""

import datetime as dt
from collections.abc import Iterable
from urllib.parse import urlencode

from django.conf import settings
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from accounts.access import (
    Permission,
    ProgramRequest,
    may,
    needs,
)
from accounts.models import Membership
from surveys.dates import short_month_day
from surveys.language import gettext, gettext_noop, said
from surveys.models import Program, Visit
from surveys.programs.cover import covers
from surveys.seasons.coverage import (
    Coverage,
    CoverageCell,
    CoverageRow,
    CoverageTable,
    coverage,
)
from surveys.seasons.options import routes_of
from surveys.seasons.route_years import (
    route_years,
)
from surveys.seasons.stops import stops_heard
from surveys.seasons.visits import visits_of
from surveys.visits.access import visible_visits
from surveys.visits.coming_back import tell_withdrawn
from surveys.web.seasons.cells import row_cells
from surveys.web.seasons.forms import (
    CoverageFilter,
    PlacesFilter,
    SeasonsFilter,
    VisitsFilter,
)
from surveys.web.seasons.maps import season_map as build_season_map
from surveys.web.seasons.tabs import csv_url, tabs

ROUTES_PER_PAGE = 60
# Cookie with the code of the species that was chosen last.
LAST_SPECIES = "species"
VISITS_PER_PAGE = 50
Dates = tuple[dt.date, dt.date]


@require_GET
@needs(Permission.READ_SEASONS)
def seasons(request: ProgramRequest) -> HttpResponse:
    """Routes × season years; of the species that was chosen last, where none is in the URL."""
    program = request.membership.program
    query = request.GET.copy()
    if "species" not in query:
        query["species"] = request.COOKIES.get(LAST_SPECIES, "")
    form = SeasonsFilter(query, program=program)
    if not request.GET.get("species") and query["species"] not in form.checklist:
        query["species"] = ""
    filters = form.filters
    page = Paginator(
        routes_of(program, region=filters.region, stratum=filters.stratum), ROUTES_PER_PAGE
    ).get_page(request.GET.get("page"))
    table = route_years(program, routes=list(page), **filters.narrowing())
    response = render(
        request,
        "seasons/seasons.html",
        {
            "tabs": tabs(request, "seasons"),
            "form": form,
            "filters": filters,
            "years": table.years,
            "rows": [
                (row, list(zip(table.years, row_cells(program, row, filters), strict=True)))
                for row in table.rows
            ],
            "page_obj": page,
            "csv_url": csv_url(request, "seasons_csv"),
        },
    )
    if "species" in request.GET:
        code = filters.species.code if filters.species else ""
        response.set_cookie(
            LAST_SPECIES,
            code,
            samesite="Lax",
            httponly=True,
            secure=settings.SESSION_COOKIE_SECURE or request.is_secure(),
        )
    return response


@require_GET
@needs(Permission.READ_SEASONS)
def season_coverage(request: ProgramRequest) -> HttpResponse:
    """Windows × routes of one season year."""
    program = request.membership.program
    form = CoverageFilter(request.GET, program=program)
    table = coverage(program, form.season_year, **form.places)
    dates = shared_dates(table)
    names = names_on_routes(table)
    labels = [window_label(*head) for head in zip(table.windows, dates, strict=True)]
    return render(
        request,
        "seasons/coverage.html",
        {
            "tabs": tabs(request, "season_coverage"),
            "form": form,
            "table": table,
            "heads": list(zip(table.windows, dates, strict=True)),
            "rows": [
                (
                    row,
                    names.get(row.route_id, ""),
                    labeled(labels, coverage_cells(program, table, row, dates)),
                )
                for row in table.rows
            ],
            "csv_url": csv_url(request, "season_coverage_csv"),
            "totals": [
                (gettext(COVERAGE[state]), table.totals[state], "")
                for state in Coverage
                if table.totals[state]
            ],
        },
    )


def names_on_routes(table: CoverageTable) -> dict[int, str]:
    """Who surveys each route in a season year, by the key of the route; until its last window is
    over, those who have left are told."""
    plan = table.plan
    cells = (cell for row in table.rows for cell in row.cells if cell is not None)
    is_over = all(cell.window.closes < plan.today for cell in cells)

    def name(member: Membership) -> str:
        if is_over or covers(member):
            return member.person.name
        return said("{name} (left)", name=member.person.name)

    return {
        route: gettext(", ").join(name(member) for member in plan.members_on(route))
        for route in plan.assigned
    }


COVERAGE = {
    Coverage.DONE: gettext_noop("Done"),
    Coverage.IN_REVIEW: gettext_noop("In review"),
    Coverage.DUE: gettext_noop("Due"),
    Coverage.MISSED: gettext_noop("Missed"),
    Coverage.AHEAD: gettext_noop("Not open yet"),
}


def shared_dates(table: CoverageTable) -> list[Dates | None]:
    """First and last night of each window, where they are the same on every route."""
    shared = []
    for column in range(len(table.windows)):
        cells = [row.cells[column] for row in table.rows if row.cells[column]]
        dates = {(cell.window.opens, cell.window.closes) for cell in cells}
        shared.append(dates.pop() if len(dates) == 1 else None)
    return shared


def window_label(name: str, dates: Dates | None) -> str:
    """What stands before a cell on a phone, where the heads of the columns are not shown."""
    if dates is None:
        return name
    opens, closes = map(short_month_day, dates)
    return said("{name}, {opens} – {closes}", name=name, opens=opens, closes=closes)


def labeled(labels: Iterable[str], cells: Iterable[tuple]) -> list[tuple]:
    """Cells with what stands before each on a phone."""
    return [(label, *cell) for label, cell in zip(labels, cells, strict=True)]


def coverage_cells(
    program: Program, table: CoverageTable, row: CoverageRow, shared: list[Dates | None]
) -> list[tuple[CoverageCell | None, str, Dates | None]]:
    """Each cell with the URL of its visits, and its dates unless the heading shows them."""
    here = reverse("web:season_visits", kwargs={"program": program.slug})
    year = {"since": table.season_year, "until": table.season_year}
    cells = []
    for cell, dates in zip(row.cells, shared, strict=True):
        url, own_dates = "", None
        if cell and cell.visits:
            url = f"{here}?{urlencode({'route': row.code, 'window': cell.window.name} | year)}"
        if cell and dates is None:
            own_dates = (cell.window.opens, cell.window.closes)
        cells.append((cell, url, own_dates))
    return cells


@require_GET
@needs(Permission.READ_SEASONS)
def season_map(request: ProgramRequest) -> HttpResponse:
    """Routes and stops with the highest index heard in the chosen years."""
    program = request.membership.program
    form = PlacesFilter(request.GET, program=program)
    filters = form.filters
    routes = list(routes_of(program, region=filters.region, stratum=filters.stratum))
    stops = []
    if form.years:
        stops = stops_heard(
            program,
            routes,
            species=filters.species,
            first_year=filters.first_year or form.years[0],
            last_year=filters.last_year or form.years[-1],
        )
    listened = [stop for stop in stops if stop.highest_index is not None]
    return render(
        request,
        "seasons/map.html",
        {
            "tabs": tabs(request, "season_map"),
            "form": form,
            "filters": filters,
            "map": build_season_map(program, routes, stops),
            "counts": counts_by_index(listened),
            "listened": len(listened),
        },
    )


def counts_by_index(stops: Iterable) -> list[tuple[int, int]]:
    indexes = [stop.highest_index for stop in stops]
    return [(index, indexes.count(index)) for index in (3, 2, 1, 0)]


@require_GET
@needs(Permission.READ_SEASONS)
def season_visits(request: ProgramRequest) -> HttpResponse:
    """The visits behind a cell, latest first."""
    program = request.membership.program
    form, visits = visits_asked_for(request)
    route_code = form.cleaned_data.get("route") or None
    page = Paginator(visits, VISITS_PER_PAGE).get_page(request.GET.get("page"))
    tell_withdrawn(page.object_list)
    return render(
        request,
        "seasons/visits.html",
        {
            "form": form,
            "filters": form.filters,
            "route": routes_of(program).filter(code=route_code).first() if route_code else None,
            "route_code": route_code,
            "window": form.cleaned_data.get("window") or None,
            "may_review": may(request.membership, Permission.REVIEW),
            "page_obj": page,
            "csv_url": csv_url(request, "season_visits_csv"),
        },
    )


def visits_asked_for(request: ProgramRequest) -> tuple[VisitsFilter, QuerySet[Visit]]:
    """The filters of a request, and the visits under them that its member may read."""
    form = VisitsFilter(request.GET, program=request.membership.program)
    filters = form.filters
    visits = visits_of(
        visible_visits(request.membership),
        route_code=form.cleaned_data.get("route") or None,
        window=form.cleaned_data.get("window") or None,
        **filters.narrowing(),
    )
    return form, visits
