"""What changed in a season, and the tables of Seasons as files."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from accounts.access import Permission, ProgramRequest, needs
from accounts.edit_conflicts import yes_or_no
from surveys.language import gettext
from surveys.models import VisitState
from surveys.publishing.formats import yearly_csv as csv
from surveys.seasons.changed import Changed, what_changed
from surveys.seasons.coverage import Coverage, coverage
from surveys.seasons.options import routes_of
from surveys.seasons.route_years import RouteYear, route_years
from surveys.visits.coming_back import tell_withdrawn
from surveys.web.csv_file import csv_file
from surveys.web.seasons.forms import CoverageFilter, SeasonsFilter
from surveys.web.seasons.tabs import csv_url, tabs
from surveys.web.seasons.views import COVERAGE, names_on_routes, visits_asked_for


@require_GET
@needs(Permission.READ_SEASONS)
def season_changed(request: ProgramRequest) -> HttpResponse:
    form = CoverageFilter(request.GET, program=request.membership.program)
    changed = what_changed(request.membership.program, form.season_year, **form.places)
    return render(
        request,
        "seasons/changed.html",
        {
            "tabs": tabs(request, "season_changed"),
            "form": form,
            "changed": changed,
            "csv_url": csv_url(request, "season_changed_csv"),
        },
    )


@require_GET
@needs(Permission.READ_SEASONS)
def season_changed_csv(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    form = CoverageFilter(request.GET, program=program)
    changed = what_changed(program, form.season_year, **form.places)
    head = (gettext("Change"), gettext("Route"), gettext("Species"), gettext("Heard before in"))
    return _file(request, f"changed-{changed.season_year}", head, _changed_rows(changed))


def _changed_rows(changed: Changed) -> Iterable[Sequence[object]]:
    for words, changes in (
        (gettext("Silent"), changed.silent),
        (gettext("New"), changed.new),
    ):
        for one in changes:
            yield words, one.code, one.species, " ".join(map(str, one.years))
    for code, _ in changed.gaps:
        yield gettext("No visit"), code, "", ""


@require_GET
@needs(Permission.READ_SEASONS)
def seasons_csv(request: ProgramRequest) -> HttpResponse:
    """All routes and years under the filters; a row each."""
    program = request.membership.program
    filters = SeasonsFilter(request.GET, program=program).filters
    routes = routes_of(program, region=filters.region, stratum=filters.stratum)
    table = route_years(program, routes=list(routes), **filters.narrowing())
    head = (
        gettext("Route"),
        gettext("Region"),
        gettext("Stratum"),
        gettext("Season"),
        gettext("Species heard"),
        gettext("Highest call index"),
        gettext("Stops with calls"),
        gettext("Stops surveyed"),
        gettext("Visits"),
        gettext("Windows done"),
        gettext("Windows due"),
    )
    rows = (
        (row.code, row.region, row.stratum, year, *_year_cells(cell))
        for row in table.rows
        for year, cell in zip(table.years, row.cells, strict=True)
    )
    return _file(request, "seasons", head, rows)


def _year_cells(cell: RouteYear | None) -> Sequence[object]:
    if cell is None:
        return ("",) * 7
    listened = cell.highest_index is not None
    return (
        cell.species_heard if listened else "",
        cell.highest_index if listened else "",
        cell.stops_detected if listened else "",
        cell.stops_listened,
        cell.visits,
        cell.windows_done,
        cell.windows_due,
    )


@require_GET
@needs(Permission.READ_SEASONS)
def season_coverage_csv(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    form = CoverageFilter(request.GET, program=program)
    table = coverage(program, form.season_year, **form.places)
    words = {state: gettext(COVERAGE[state]) for state in Coverage}
    head = (
        gettext("Route"),
        gettext("Region"),
        gettext("Stratum"),
        gettext("Survey window"),
        gettext("From"),
        gettext("To"),
        gettext("State"),
        gettext("Visits"),
        gettext("Observers"),
    )
    names = names_on_routes(table)
    rows = (
        (
            row.code,
            row.region,
            row.stratum,
            cell.window.name,
            cell.window.opens.isoformat(),
            cell.window.closes.isoformat(),
            words[cell.coverage],
            cell.visits,
            names.get(row.route_id, ""),
        )
        for row in table.rows
        for cell in row.cells
        if cell
    )
    return _file(request, f"coverage-{table.season_year}", head, rows)


@require_GET
@needs(Permission.READ_SEASONS)
def season_visits_csv(request: ProgramRequest) -> HttpResponse:
    """All visits under the filters, latest first."""
    _, visits = visits_asked_for(request)
    head = (
        gettext("Night"),
        gettext("Route"),
        gettext("Season"),
        gettext("Survey window"),
        gettext("Observer"),
        gettext("Highest call index"),
        gettext("Stops with calls"),
        gettext("Stops surveyed"),
        gettext("State"),
        gettext("Excluded from trends"),
    )
    rows = (
        (
            visit.night.isoformat(),
            visit.route.code,
            visit.season_year,
            visit.window,
            visit.observer.name,
            (visit.highest_index or 0) if visit.stops_listened else "",
            visit.stops_detected or 0,
            visit.stops_listened or 0,
            gettext("Withdrawn") if visit.is_withdrawn else visit.get_state_display(),
            yes_or_no(visit.state == VisitState.ACCEPTED and not visit.counts_in_trends),
        )
        for visit in tell_withdrawn(visits)
    )
    return _file(request, "visits", head, rows)


def _file(
    request: ProgramRequest, name: str, head: Sequence[str], rows: Iterable[Sequence[object]]
) -> HttpResponse:
    return csv_file(csv.guarded_csv(head, rows), f"{request.membership.program.slug}-{name}.csv")
