"""Stops of a route: adding, correcting, closing and moving."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from accounts.form_errors import Form
from surveys.dates import day
from surveys.language import said
from surveys.models import Stop
from surveys.programs import stops as verbs
from surveys.programs.assignments import tonight_of
from surveys.programs.place_corrections import correct_place
from surveys.programs.routes import route_of
from surveys.web.forms.refusals import run_verb
from surveys.web.program.route_forms import (
    CloseStopForm,
    CorrectPlaceForm,
    MoveStopForm,
    StopForm,
)
from surveys.web.program.route_views import (
    map_data,
    stops_around,
)


def _to_route(request: ProgramRequest, route_id: int, message: str) -> HttpResponse:
    messages.success(request, message)
    return redirect("web:program_route", program=request.membership.program.slug, route=route_id)


def _map(request: ProgramRequest, route_id: int, here: Stop | None = None) -> dict[str, object]:
    program = request.membership.program
    route = route_of(program, route_id)
    stops = verbs.present_stops(route)
    around = [] if stops else stops_around(program)
    return map_data(route, stops, here=here, around=around)


def _page_of(request: ProgramRequest, template: str, stop: Stop, form: Form) -> HttpResponse:
    context = {
        "section": "routes",
        "route": stop.route,
        "stop": stop,
        "form": form,
        "map_data": _map(request, stop.route_id, stop),
    }
    return render(request, template, context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def add(request: ProgramRequest, route: int) -> HttpResponse:
    program = request.membership.program
    shown = route_of(program, route)
    initial = {"number": verbs.next_number(shown), "active_from": tonight_of(program)}
    form = StopForm(request.POST if request.method == "POST" else None, initial=initial)
    if request.method == "POST" and form.is_valid():
        stop = run_verb(
            form,
            verbs.add_stop,
            request.membership,
            shown.pk,
            number=form.cleaned_data["number"],
            place=form.place,
            active_from=form.cleaned_data["active_from"],
            facts=form.facts,
        )
        if stop:
            return _to_route(request, shown.pk, said("Stop {stop} is added.", stop=stop))
    context = {
        "section": "routes",
        "route": shown,
        "form": form,
        "map_data": _map(request, shown.pk),
    }
    return render(request, "program/stop_form.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def edit(request: ProgramRequest, stop: int) -> HttpResponse:
    shown = verbs.stop_of(request.membership.program, stop)
    form = StopForm(request.POST if request.method == "POST" else None, stop=shown)
    form.show(verbs.stop_facts(shown))
    if request.method == "POST" and form.is_valid():
        saved = run_verb(
            form,
            verbs.change_stop,
            request.membership,
            shown.pk,
            seen=form.seen,
            number=form.cleaned_data["number"],
            place=form.place,
            active_from=form.cleaned_data["active_from"],
            facts=form.facts,
        )
        if saved:
            return _to_route(request, shown.route_id, said("Stop {saved} is saved.", saved=saved))
    return _page_of(request, "program/stop_form.html", shown, form)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def close(request: ProgramRequest, stop: int) -> HttpResponse:
    program = request.membership.program
    shown = verbs.stop_of(program, stop)
    form = CloseStopForm(
        request.POST if request.method == "POST" else None, tonight=tonight_of(program)
    )
    if request.method == "POST" and form.is_valid():
        closed = run_verb(form, verbs.close_stop, request.membership, shown.pk, **form.cleaned_data)
        if closed:
            message = said(
                "Stop {closed} is closed after {day}.", closed=closed, day=day(closed.active_until)
            )
            return _to_route(request, shown.route_id, message)
    context = {"section": "routes", "route": shown.route, "stop": shown, "form": form}
    return render(request, "program/stop_close.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def correct(request: ProgramRequest, stop: int) -> HttpResponse:
    """A location that was mistyped; the visits stay with the stop."""
    shown = verbs.stop_of(request.membership.program, stop)
    form = CorrectPlaceForm(request.POST if request.method == "POST" else None, stop=shown)
    form.show(verbs.stop_facts(shown))
    if request.method == "POST" and form.is_valid():
        corrected = run_verb(
            form,
            correct_place,
            request.membership,
            shown.pk,
            place=form.place,
            reason=form.cleaned_data["reason"],
            seen=form.seen,
        )
        if corrected:
            message = said("The location of stop {stop} is corrected.", stop=corrected)
            return _to_route(request, shown.route_id, message)
    return _page_of(request, "program/stop_correct.html", shown, form)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def move(request: ProgramRequest, stop: int) -> HttpResponse:
    program = request.membership.program
    shown = verbs.stop_of(program, stop)
    form = MoveStopForm(
        request.POST if request.method == "POST" else None, stop=shown, tonight=tonight_of(program)
    )
    if request.method == "POST" and form.is_valid():
        moved = run_verb(
            form,
            verbs.move_stop,
            request.membership,
            shown.pk,
            first_night=form.cleaned_data["first_night"],
            place=form.place,
            reason=form.cleaned_data["reason"],
            facts=form.facts,
        )
        if moved:
            message = said(
                "Stop {moved} is at its new place from {day} on.",
                moved=moved,
                day=day(moved.active_from),
            )
            return _to_route(request, shown.route_id, message)
    return _page_of(request, "program/stop_move.html", shown, form)
