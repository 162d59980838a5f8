"""Observers at a glance: the table for coordinators, and the page of one observer, which only
coordinators and the observer see."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from accounts.access import Permission, ProgramRequest, needs
from accounts.models import Membership
from accounts.people import person_of
from surveys.language import gettext
from surveys.seasons.observers import observer_figures, season_years_surveyed
from surveys.web.csv_file import csv_file
from surveys.web.numbers import whole_number
from surveys.web.observers.hearing import hearing_tables
from surveys.web.observers.page import (
    ObserverRow,
    observer_rows,
    observers_csv,
    rule_rows,
    same_in_words,
)


def _season(request: ProgramRequest, years: list[int]) -> int | None:
    """The season chosen; None is all of them."""
    year = whole_number(request.GET.get("season", ""))
    return year if year in years else None


@require_GET
@needs(Permission.REVIEW)
def observers(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    years = season_years_surveyed(program)
    season = _season(request, years)
    context = {
        "section": "people",
        "years": years,
        "season": season,
        "query": f"?season={season}" if season else "",
        "rows": observer_rows(program, season),
    }
    return render(request, "observers/observers.html", context)


@require_GET
@needs(Permission.REVIEW)
def observers_file(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    season = _season(request, season_years_surveyed(program))
    name = f"{program.slug}-observers-{season or 'all-seasons'}.csv"
    return csv_file(observers_csv(observer_rows(program, season)), name)


@require_GET
@needs(Permission.REVIEW)
def observer(request: ProgramRequest, membership: int) -> HttpResponse:
    return _page(request, person_of(request.membership, membership))


@require_GET
@needs(Permission.SURVEY)
def own_surveys(request: ProgramRequest) -> HttpResponse:
    return _page(request, request.membership)


def _page(request: ProgramRequest, shown: Membership) -> HttpResponse:
    program = shown.program
    years = season_years_surveyed(program)
    season = _season(request, years)
    figures = observer_figures(program, season, shown.person_id).get(shown.person_id)
    agreement = figures.agreement if figures else None
    is_own = shown.pk == request.membership.pk
    context = {
        "shown": shown,
        "is_own": is_own,
        "title": gettext("Your surveys at a glance") if is_own else shown.person.name,
        "years": years,
        "season": season,
        "row": ObserverRow(member=shown, figures=figures) if figures else None,
        "rules": rule_rows(program, season, figures) if figures else [],
        "same": same_in_words(agreement) if agreement else "",
        "hearing": hearing_tables(shown, season) if figures else [],
    }
    return render(request, "observers/observer.html", context)
