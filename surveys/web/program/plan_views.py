"""One route of the plan: who goes in which window, and who could; answers to requests."""

from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from accounts.access import Permission, ProgramRequest, needs
from surveys.language import gettext, said
from surveys.models import RequestState, Route
from surveys.planning import requests as request_verbs
from surveys.planning import substitutes as substitute_verbs
from surveys.planning.candidates import candidates
from surveys.programs import assignments as verbs
from surveys.programs.cover import SeasonPlan
from surveys.programs.schedule import DueWindow
from surveys.seasons.coverage import CoverageCell, coverage
from surveys.web.forms.refusals import run_verb
from surveys.web.numbers import whole_number
from surveys.web.program.assignment_forms import AnswerForm, PlanForm
from surveys.web.program.assignment_views import assignments_page
from surveys.web.program.plan_page import candidate_rows, names_of, parts_of


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def route_plan(request: ProgramRequest, route: int) -> HttpResponse:
    """A window of a route, or its whole season; posting lets a candidate go there."""
    member = request.membership
    program, today = member.program, verbs.today_of(member.program)
    shown = get_object_or_404(program.routes.select_related("program"), pk=route)
    year = _year(request)
    due = verbs.due_windows(shown, year)
    window = _window(request, due)
    form = PlanForm(request.POST if request.method == "POST" else None, windows=due)
    form.show(verbs.assigned_facts(shown, year))
    if request.method == "POST" and form.is_valid():
        told = _let_go(request, form, shown, year)
        if told:
            messages.success(request, told)
            return redirect(f"{request.path}?{request.GET.urlencode()}")
    plan = SeasonPlan(program, year, today)
    asked = [window] if window else [one for one in due if one.closes >= today]
    cells = _cells(shown, year)
    context = {
        "section": "assignments",
        "form": form,
        "route": shown,
        "year": year,
        "window": window,
        "windows": _segments(due, year, window),
        "cells": [
            (
                cell,
                names_of(cell, today, plan.away),
                parts_of(plan.of_route(route), cell.window.name),
            )
            for cell in cells
            if window is None or cell.window == window
        ],
        "assigned": plan.of_route(route),
        "instead_of": next(
            (
                one
                for one in plan.of_route(route)
                if window and one.has(window.name) and str(one.id) == request.GET.get("for", "")
            ),
            None,
        ),
        "rows": candidate_rows(
            program, candidates(program, shown, asked, plan, today), asked, today
        ),
    }
    return render(request, "program/route_plan.html", context)


def _let_go(request: ProgramRequest, form: PlanForm, route: Route, year: int) -> str | None:
    """Assign the candidate, or let them stand in; what came of it, or None."""
    facts = form.cleaned_data
    if facts["instead_of"]:
        named = run_verb(
            form,
            substitute_verbs.name_substitute,
            request.membership,
            assignment_id=facts["instead_of"],
            window=facts["window"],
            observer_id=facts["observer"],
            seen=form.seen,
            site_url=request.build_absolute_uri("/"),
        )
        return named and said(
            "{substitute} fills in for {observer} in {window}. Both get an email.",
            substitute=named.person.name,
            observer=named.assignment.observer.name,
            window=named.window,
        )
    assigned = run_verb(
        form,
        verbs.assign,
        request.membership,
        route_id=route.pk,
        observer_id=facts["observer"],
        season_year=year,
        windows=[facts["window"]] if facts["window"] else [],
        seen=form.seen,
    )
    return assigned and said(
        "{observer} surveys {route} in {year}: {windows}.",
        observer=assigned.observer.name,
        route=route.code,
        year=year,
        windows=verbs.windows_in_words(assigned.windows),
    )


def _cells(route: Route, year: int) -> list[CoverageCell]:
    table = coverage(route.program, year, today=verbs.today_of(route.program))
    found = next((row for row in table.rows if row.route_id == route.pk), None)
    return [cell for cell in found.cells if cell is not None] if found else []


def _year(request: ProgramRequest) -> int:
    program = request.membership.program
    text = request.GET.get("season", "")
    year = whole_number(text) if text else verbs.current_season_year(program)
    if year not in verbs.season_years(program):
        raise Http404(gettext("There is no such season year to assign."))
    return year


def _window(request: ProgramRequest, due: tuple[DueWindow, ...]) -> DueWindow | None:
    name = request.GET.get("window", "")
    found = next((window for window in due if window.name == name), None)
    if name and found is None:
        raise Http404(gettext("This route has no such window in this season."))
    return found


def _segments(
    due: tuple[DueWindow, ...], year: int, window: DueWindow | None
) -> list[dict[str, object]]:
    """The whole season, then each window."""
    whole = {"name": gettext("Whole season"), "url": f"?season={year}", "current": window is None}
    return [
        whole,
        *(
            {
                "name": one.name,
                "url": "?" + urlencode({"season": year, "window": one.name}),
                "current": one == window,
            }
            for one in due
        ),
    ]


@require_POST
@needs(Permission.MANAGE)
def drop_substitute(request: ProgramRequest, substitute: int) -> HttpResponse:
    dropped = substitute_verbs.drop_substitute(
        request.membership, substitute, site_url=request.build_absolute_uri("/")
    )
    assignment = dropped.assignment
    messages.success(
        request,
        said(
            "{observer} is going again in {window}.",
            observer=assignment.observer.name,
            window=dropped.window,
        ),
    )
    return redirect(plan_url(request, assignment.route_id, assignment.season_year, dropped.window))


@require_POST
@needs(Permission.MANAGE)
def answer_request(request: ProgramRequest, plan_request: int) -> HttpResponse:
    """Accept, or with `decline` decline. What was written is kept where that is refused."""
    form = AnswerForm(request.POST)
    verb = (
        request_verbs.decline_request if "decline" in request.POST else request_verbs.accept_request
    )
    answered = form.is_valid() and run_verb(
        form,
        verb,
        request.membership,
        plan_request,
        answer=form.cleaned_data["answer"],
        site_url=request.build_absolute_uri("/"),
    )
    if not answered:
        return assignments_page(request, answering=(plan_request, form))
    if answered.state == RequestState.ACCEPTED:
        told = said(
            "{name} surveys {route}. The email is on its way.",
            name=answered.member.person.name,
            route=answered.route,
        )
    else:
        told = said("{name} gets your answer by email.", name=answered.member.person.name)
    messages.success(request, told)
    return redirect("web:program_assignments", program=request.membership.program.slug)


@require_POST
@needs(Permission.MANAGE)
def taking(request: ProgramRequest) -> HttpResponse:
    """Whether observers take free routes at once, or ask."""
    program = request_verbs.let_take_routes(request.membership, "take" in request.POST)
    messages.success(
        request,
        gettext("Observers can now take a free route at once.")
        if program.routes_are_taken
        else gettext("Observers now ask you for a free route."),
    )
    return redirect("web:program_assignments", program=program.slug)


def plan_url(request: ProgramRequest, route: int, year: int, window: str = "") -> str:
    query = {"season": year} | ({"window": window} if window else {})
    slug = request.membership.program.slug
    return reverse("web:program_route_plan", args=[slug, route], query=query)
