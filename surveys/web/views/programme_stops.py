"""Stops of a route: adding, correcting, closing and moving."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from accounts.access import Permission, ProgrammeRequest, needs
from surveys.models import Stop
from surveys.programmes import stops as verbs
from surveys.programmes.assignments import today_of
from surveys.programmes.routes import route_of
from surveys.protocol.words import day
from surveys.web.forms.programme_routes import CloseStopForm, MoveStopForm, StopForm
from surveys.web.forms.refusals import tried
from surveys.web.views.programme_routes import map_data, stops_around


def _to_route(request: ProgrammeRequest, route_id: int, said: str) -> HttpResponse:
    messages.success(request, said)
    return redirect(
        "web:programme_route", programme=request.membership.programme.slug, route=route_id
    )


def _map(request: ProgrammeRequest, route_id: int, here: Stop | None = None) -> dict[str, object]:
    programme = request.membership.programme
    route = route_of(programme, route_id)
    stops = verbs.present_stops(route)
    around = [] if stops else stops_around(programme)
    return map_data(route, stops, here=here, around=around)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def add(request: ProgrammeRequest, route: int) -> HttpResponse:
    programme = request.membership.programme
    shown = route_of(programme, route)
    initial = {"number": verbs.next_number(shown), "active_from": today_of(programme)}
    form = StopForm(request.POST if request.method == "POST" else None, initial=initial)
    if request.method == "POST" and form.is_valid():
        stop = tried(
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
            return _to_route(request, shown.pk, f"Stop {stop} is added.")
    context = {
        "section": "routes",
        "route": shown,
        "form": form,
        "map_data": _map(request, shown.pk),
    }
    return render(request, "web/programme/stop_form.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def edit(request: ProgrammeRequest, stop: int) -> HttpResponse:
    shown = verbs.stop_of(request.membership.programme, stop)
    form = StopForm(request.POST if request.method == "POST" else None, stop=shown)
    form.show(verbs.stop_facts(shown))
    if request.method == "POST" and form.is_valid():
        saved = tried(
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
            return _to_route(request, shown.route_id, f"Stop {saved} is saved.")
    context = {
        "section": "routes",
        "route": shown.route,
        "stop": shown,
        "form": form,
        "map_data": _map(request, shown.route_id, shown),
    }
    return render(request, "web/programme/stop_form.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def close(request: ProgrammeRequest, stop: int) -> HttpResponse:
    programme = request.membership.programme
    shown = verbs.stop_of(programme, stop)
    form = CloseStopForm(
        request.POST if request.method == "POST" else None, today=today_of(programme)
    )
    if request.method == "POST" and form.is_valid():
        closed = tried(form, verbs.close_stop, request.membership, shown.pk, **form.cleaned_data)
        if closed:
            said = f"Stop {closed} is closed after {day(closed.active_until)}."
            return _to_route(request, shown.route_id, said)
    context = {"section": "routes", "route": shown.route, "stop": shown, "form": form}
    return render(request, "web/programme/stop_close.html", context)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def move(request: ProgrammeRequest, stop: int) -> HttpResponse:
    programme = request.membership.programme
    shown = verbs.stop_of(programme, stop)
    form = MoveStopForm(
        request.POST if request.method == "POST" else None, stop=shown, today=today_of(programme)
    )
    if request.method == "POST" and form.is_valid():
        moved = tried(
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
            said = f"Stop {moved} is at its new place from {day(moved.active_from)} on."
            return _to_route(request, shown.route_id, said)
    context = {
        "section": "routes",
        "route": shown.route,
        "stop": shown,
        "form": form,
        "map_data": _map(request, shown.route_id, shown),
    }
    return render(request, "web/programme/stop_move.html", context)
