"""Closing a season: what is not decided, what would be published, and the run that makes it."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from accounts.access import Permission, ProgramRequest, needs
from surveys.fitting.stored import stored_fits
from surveys.language import gettext, said
from surveys.models import BackgroundRun, RunKind
from surveys.publishing.closing import (
    last_closed_season,
    missing_visits,
    open_visits,
    unsettled_queries,
)
from surveys.publishing.exceptions import PublishingError
from surveys.publishing.formats import yearly_csv as csv
from surveys.publishing.publish import Preview, preview, request_publication, subject_of
from surveys.publishing.upcoming import Upcoming, upcoming
from surveys.runs.enqueue import latest_run
from surveys.seasons.route_years import season_years
from surveys.visits.coming_back import tell_withdrawn
from surveys.web.csv_file import csv_file
from surveys.web.numbers import whole_number
from surveys.web.publications.by_cause import as_csv, one_group, parts_by_cause
from surveys.web.publications.forms import PublishForm
from surveys.web.runs.page import run_page
from surveys.web.trends.page import glance_rows
from surveys.web.trends.views import common_names
from surveys.web.trends.yearly import live_rows, table_context

SHOWN = 25


@require_http_methods(["GET", "POST"])
@needs(Permission.PUBLISH)
def publish(request: ProgramRequest) -> HttpResponse:
    """Choose a season year, look at what is open and what would be frozen, publish it."""
    program = request.membership.program
    years = season_years(program)
    if not years:
        return render(request, "publications/publish.html", {"years": []})
    season_year = _chosen_year(request, years)
    preview_now = preview(program, season_year)
    waiting = open_visits(program, season_year)
    open_count = waiting.count()
    changes = upcoming(program, preview_now)
    told = _changes(changes, season_year)
    if told and request.method == "GET" and {"csv", "group"} & set(request.GET):
        return _rows_of_changes(request, told, season_year)
    form = PublishForm(
        request.POST if request.method == "POST" else None,
        initial={"seen": preview_now.sha256},
        preview=preview_now,
        open_count=open_count,
        changes=changes,
    )
    if request.method == "POST" and form.is_valid():
        run = _ask(request, form, preview_now)
        if run:
            return redirect("web:publishing_run", program=program.slug, run_id=run.pk)
    missing = missing_visits(program, season_year)
    unsettled = unsettled_queries(program, season_year)
    return render(
        request,
        "publications/publish.html",
        {
            "years": years,
            "season_year": season_year,
            "preview": preview_now,
            "possible": season_year in preview_now.years,
            "run": latest_run(program.pk, subject_of(season_year)),
            "form": form,
            "open_count": open_count,
            "waiting": tell_withdrawn(waiting[:SHOWN]),
            "missing_count": len(missing),
            "missing": missing[:SHOWN],
            "unsettled_count": unsettled.count(),
            "unsettled": unsettled[:SHOWN],
            "shown": SHOWN,
            **told,
            **_tables(request, preview_now),
        },
        status=422 if form.errors else 200,
    )


def _changes(changes: Upcoming | None, season_year: int) -> dict[str, object]:
    """What changes against the last version, by cause."""
    if changes is None:
        return {}
    return {
        "changes": changes,
        "parts": parts_by_cause(changes.visits, {"yearly": changes.numbers}, may_differ=True),
        "show_steps": True,
        "query_year": season_year,
    }


def _rows_of_changes(
    request: ProgramRequest, context: dict[str, object], season_year: int
) -> HttpResponse:
    """Of what changes, all rows as a file, or those of one group, a page at a time."""
    if "csv" in request.GET:
        name = f"{request.membership.program.slug}-{season_year}-changes.csv"
        return csv_file(as_csv(context["parts"], show_steps=True), name)
    context = {**context, **one_group(request, context["parts"])}
    return render(request, "publications/one_cause.html", context)


@require_GET
@needs(Permission.PUBLISH)
def publishing_run(request: ProgramRequest, run_id: int) -> HttpResponse:
    """How far it has come. Its inner part asks for itself again until it is done."""
    program = request.membership.program
    run = get_object_or_404(program.runs.filter(kind=RunKind.PUBLISH), pk=run_id)
    season_year = run.options["season_year"]
    publications = {
        "name": gettext("Publications"),
        "url": reverse("web:publications", args=[program.slug]),
    }
    return run_page(
        request,
        run,
        heading=said("Publishing season {season_year}", season_year=season_year),
        crumbs=[
            publications,
            {"name": said("Season {season_year}", season_year=season_year), "url": ""},
        ],
        outcome="publications/run_outcome.html",
    )


def _tables(request: ProgramRequest, preview_now: Preview) -> dict[str, object]:
    """The rows of the season that is closed, and the trends as they are fitted today."""
    rows = [row for row in preview_now.rows if row.season_year == preview_now.season_year]
    program = request.membership.program
    fits = stored_fits(program)
    return {
        **table_context(csv.HEADER, live_rows(rows), common_names(program)),
        "glance": glance_rows(
            fits,
            lambda fit: reverse(
                "web:trend_species",
                kwargs={"program": program.slug, "code": fit.species.code},
            ),
        ),
    }


def _ask(request: ProgramRequest, form: PublishForm, preview_now: Preview) -> BackgroundRun | None:
    """Ask for it, or put the refusal on the form. What was typed stays; `seen` is renewed."""
    data = form.cleaned_data
    try:
        return request_publication(
            request.membership,
            preview_now.season_year,
            data.get("reason", ""),
            seen=data["seen"],
            site_url=request.build_absolute_uri("/"),
        )
    except PublishingError as refusal:
        form.add_error(None, str(refusal))
        form.data = form.data.copy()
        form.data["seen"] = preview_now.sha256
        return None


def _chosen_year(request: ProgramRequest, years: tuple[int, ...]) -> int:
    """The season year asked for, else the last that is over."""
    year = whole_number(request.POST.get("year") or request.GET.get("year") or "")
    if year in years:
        return year
    return last_closed_season(request.membership.program) or years[-1]
