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
from surveys.programs import assignments as verbs
from surveys.web.forms.refusals import run_verb
from surveys.web.numbers import whole_number
from surveys.web.program.assignment_forms import AssignForm


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
    """The table of a season year; posting assigns a route to an observer."""
    program = request.membership.program
    years = verbs.season_years(program)
    year = _year(request, years)
    rows = verbs.assignments_of(program, year)
    observers = verbs.observers_of(program)
    form = AssignForm(
        request.POST if request.method == "POST" else None,
        routes=[row.route for row in rows],
        observers=observers,
        initial={"route": request.GET.get("route")},
    )
    if request.method == "POST" and form.is_valid():
        facts = form.cleaned_data
        assigned = run_verb(
            form,
            verbs.assign,
            request.membership,
            route_id=facts["route"],
            observer_id=facts["observer"],
            season_year=year,
        )
        if assigned:
            messages.success(
                request,
                said(
                    "{observer_name} surveys {route} in {year}.",
                    observer_name=assigned.observer.name,
                    route=assigned.route,
                    year=year,
                ),
            )
            return _back(request, year)
    context = {
        "section": "assignments",
        "form": form,
        "rows": rows,
        "year": year,
        "years": [
            {"name": str(other), "url": f"?season={other}", "current": other == year}
            for other in years
        ],
        "observers": observers,
        "unassigned": sum(not row.assignments for row in rows),
    }
    return render(request, "program/assignments.html", context)


@require_POST
@needs(Permission.MANAGE)
def unassign(request: ProgramRequest, assignment: int) -> HttpResponse:
    gone = verbs.unassign(request.membership, assignment)
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
