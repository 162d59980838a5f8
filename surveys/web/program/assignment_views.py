"""Who surveys which route in a season year."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from surveys.language import gettext, said
from surveys.planning.availability import all_absences_ahead
from surveys.planning.requests import open_requests
from surveys.programs import assignments as verbs
from surveys.seasons.coverage import coverage
from surveys.web.forms.refusals import run_verb
from surveys.web.numbers import whole_number
from surveys.web.program.assignment_forms import AnswerForm, AssignForm
from surveys.web.program.plan_page import gaps_in, plan_rows, with_test


def _year(request: ProgramRequest, years: list[int]) -> int:
    """The season year of the address; by default the current one."""
    text = request.GET.get("season", "")
    if not text:
        return verbs.current_season_year(request.membership.program)
    year = whole_number(text)
    if year not in years:
        raise Http404(gettext("There is no such season year to assign."))
    return year


def _back(request: ProgramRequest, year: int) -> HttpResponse:
    url = reverse("web:program_assignments", args=[request.membership.program.slug])
    return redirect(f"{url}?season={year}")


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def assignments(request: ProgramRequest) -> HttpResponse:
    """The plan of a season year; posting assigns a route to an observer."""
    return assignments_page(request)


def assignments_page(
    request: ProgramRequest, *, answering: tuple[int, AnswerForm] | None = None
) -> HttpResponse:
    """`answering`: a request with an answer that was refused."""
    program = request.membership.program
    years = verbs.season_years(program)
    year = _year(request, years)
    routes = verbs.assignments_of(program, year)
    observers = verbs.observers_of(program)
    posted = request.POST if request.method == "POST" and answering is None else None
    form = AssignForm(
        posted,
        program=program,
        routes=[row.route for row in routes],
        observers=observers,
        initial={"route": request.GET.get("route")},
    )
    if posted is not None and form.is_valid() and _assign(request, form, year):
        return _back(request, year)
    today = verbs.today_of(program)
    table = coverage(program, year, today=today)
    only_gaps = request.GET.get("show") == "gaps"
    planned = {row.row.route_id: row for row in plan_rows(table, today, only_gaps=only_gaps)}
    context = {
        "section": "assignments",
        "form": form,
        "rows": [
            (row, planned.get(row.route.pk))
            for row in routes
            if row.route.pk in planned or not only_gaps
        ],
        "has_routes": bool(routes),
        "table": table,
        "gaps": gaps_in(table),
        "year": year,
        "years": [
            {"name": str(other), "url": f"?season={other}", "current": other == year}
            for other in years
        ],
        "shows": [
            {"name": gettext("All routes"), "url": f"?season={year}", "current": not only_gaps},
            {
                "name": gettext("Only gaps"),
                "url": f"?season={year}&show=gaps",
                "current": only_gaps,
            },
        ],
        "observers": observers,
        "requests": [
            (one, with_test(one.member, today), _answer_form(one.pk, answering))
            for one in open_requests(program)
        ],
        "absences": all_absences_ahead(request.membership),
        "unassigned": sum(not row.assignments for row in routes),
    }
    return render(request, "program/assignments.html", context)


def _answer_form(plan_request: int, answering: tuple[int, AnswerForm] | None) -> AnswerForm:
    if answering is not None and answering[0] == plan_request:
        form = answering[1]
        form.auto_id = f"answer-{plan_request}-%s"
        return form
    return AnswerForm(auto_id=f"answer-{plan_request}-%s")


def _assign(request: ProgramRequest, form: AssignForm, year: int) -> bool:
    facts = form.cleaned_data
    assigned = run_verb(
        form,
        verbs.assign,
        request.membership,
        route_id=facts["route"],
        observer_id=facts["observer"],
        season_year=year,
    )
    if not assigned:
        return False
    messages.success(
        request,
        said(
            "{observer_name} surveys {route} in {year}.",
            observer_name=assigned.observer.name,
            route=assigned.route,
            year=year,
        ),
    )
    return True


@require_POST
@needs(Permission.MANAGE)
def unassign(request: ProgramRequest, assignment: int) -> HttpResponse:
    window = request.POST.get("window", "")
    gone = verbs.unassign(request.membership, assignment, window)
    if window:
        messages.success(
            request,
            said(
                "{observer_name} no longer surveys {route} in {window}.",
                observer_name=gone.observer.name,
                route=gone.route,
                window=window,
            ),
        )
        url = reverse(
            "web:program_route_plan",
            args=[request.membership.program.slug, gone.route_id],
            query={"season": gone.season_year, "window": window},
        )
        return redirect(url)
    messages.success(
        request,
        said(
            "{observer_name} no longer surveys {route} in {season_year}.",
            observer_name=gone.observer.name,
            route=gone.route,
            season_year=gone.season_year,
        ),
    )
    return _back(request, gone.season_year)


@require_POST
@needs(Permission.MANAGE)
def repeat(request: ProgramRequest) -> HttpResponse:
    """Assign as in the season year before."""
    year = whole_number(request.POST.get("season", ""))
    if year is None:
        raise Http404(gettext("There is no such season year to assign."))
    added = verbs.repeat_assignments(request.membership, season_year=year)
    if added:
        messages.success(
            request,
            said("Assignments copied from {year}: {added}.", year=year - 1, added=added),
        )
    else:
        messages.info(request, said("There was nothing to copy from {year}.", year=year - 1))
    return _back(request, year)
