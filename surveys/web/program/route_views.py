"""Routes of a program: list, one route with its map, adding and changing."""

from collections.abc import Iterable
from itertools import pairwise

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from surveys.language import gettext, said
from surveys.models import (
    Program,
    Route,
    Stop,
)
from surveys.programs import routes as verbs
from surveys.programs.assignments import today_of
from surveys.programs.protocols import version_on
from surveys.programs.stops import (
    closed_stops,
    present_stops,
    straight_line,
)
from surveys.protocol.values import DistanceUnit
from surveys.protocol.words import distance
from surveys.seasons.water import water_seen
from surveys.web.forms.refusals import run_verb
from surveys.web.program.route_forms import RouteForm
from surveys.web.water.strips import strip_seasons

MOST_AROUND = 60
MOST_WATER_SEASONS = 8


def map_data(
    route: Route, stops: list[Stop], *, here: Stop | None = None, around: Iterable[Stop] = ()
) -> dict[str, object]:
    """The GeoJSON that the map module draws: the line, then the stops.

    Without a line of its own the stops are joined straight, dashed. `around` are
    stops of other routes.
    """
    line = route.line or straight_line(stops)
    features = [_stop_feature(stop, state="here" if stop == here else None) for stop in stops]
    features += [
        _stop_feature(stop, lines=[said("Route {route}", route=stop.route)]) for stop in around
    ]
    if line:
        properties = {"kind": "route", "name": str(route), "other": route.line is None}
        features.insert(0, _feature("LineString", line.coords, properties))
    return {"type": "FeatureCollection", "features": features}


def _feature(kind: str, coordinates: object, properties: dict[str, object]) -> dict[str, object]:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def _stop_feature(stop: Stop, **more: object) -> dict[str, object]:
    properties = {"kind": "stop", "number": stop.number, "name": stop.name}
    properties |= {name: value for name, value in more.items() if value}
    return _feature("Point", stop.place.coords, properties)


def stops_around(program: Program) -> QuerySet[Stop]:
    """Some stops of the program, so that the map of a new route opens in its region."""
    return (
        Stop.objects.select_related("route")
        .filter(route__program=program, active_until=None)
        .order_by("number", "route__code")[:MOST_AROUND]
    )


@require_GET
@needs(Permission.MANAGE)
def routes(request: ProgramRequest) -> HttpResponse:
    program = request.membership.program
    context = {
        "section": "routes",
        "routes": verbs.routes_of(program),
        "has_protocol": program.protocols.exists(),
    }
    return render(request, "program/routes.html", context)


@require_GET
@needs(Permission.MANAGE)
def route(request: ProgramRequest, route: int) -> HttpResponse:
    """One route: facts, map, stops with their spacing, closed stops."""
    program = request.membership.program
    shown = verbs.route_of(program, route)
    stops, closed = present_stops(shown), closed_stops(shown)
    version = version_on(shown.protocol, today_of(program))
    least = version.min_stop_spacing_m if version else None
    unit = DistanceUnit(program.distance_unit)
    for stop in stops:
        meters = stop.meters_from_last
        stop.spacing = "" if meters is None else distance(meters, unit)
        stop.too_close = meters is not None and least is not None and meters < least
    numbers = [stop.number for stop in stops]
    length = sum(stop.meters_from_last or 0 for stop in stops)
    context = {
        "section": "routes",
        "route": shown,
        "stops": stops,
        "closed": closed,
        "water": strip_seasons(
            water_seen(program, routes=[shown.pk]), {stop.pk: stop for stop in (*stops, *closed)}
        )[:MOST_WATER_SEASONS],
        "map_data": map_data(shown, stops),
        "least_spacing": distance(least, unit) if least else "",
        "has_gap": any(after - before > 1 for before, after in pairwise([0, *numbers])),
        "facts": [
            (gettext("Protocol"), shown.protocol, ""),
            (gettext("Region"), shown.region or "–", ""),
            *([(gettext("Stratum"), shown.stratum, "")] if shown.stratum else []),
            (gettext("Chosen"), shown.get_chosen_display(), ""),
            (gettext("Stops"), len(stops), ""),
            (gettext("Length"), distance(length, unit), gettext("straight from stop to stop")),
        ],
    }
    return render(request, "program/route.html", context)


def _form_page(
    request: ProgramRequest, form: RouteForm, route: Route | None = None
) -> HttpResponse:
    context = {"section": "routes", "form": form, "route": route}
    return render(request, "program/route_form.html", context)


def _saved(request: ProgramRequest, form: RouteForm, route_id: int | None) -> Route | None:
    facts = dict(form.cleaned_data)
    facts["protocol_id"] = facts.pop("protocol")
    return run_verb(
        form, verbs.save_route, request.membership, route_id=route_id, seen=form.seen, **facts
    )


def _to_route(request: ProgramRequest, route: Route) -> HttpResponse:
    messages.success(request, said("Route {route} is saved.", route=route))
    return redirect("web:program_route", program=request.membership.program.slug, route=route.pk)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def add(request: ProgramRequest) -> HttpResponse:
    protocols = list(request.membership.program.protocols.order_by("name"))
    if not protocols:
        messages.warning(request, gettext("Set up a protocol first: every route follows one."))
        return redirect("web:program_protocols", program=request.membership.program.slug)
    form = RouteForm(request.POST if request.method == "POST" else None, protocols=protocols)
    if request.method == "POST" and form.is_valid():
        saved = _saved(request, form, None)
        if saved:
            return _to_route(request, saved)
    return _form_page(request, form)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def edit(request: ProgramRequest, route: int) -> HttpResponse:
    program = request.membership.program
    shown = verbs.route_of(program, route)
    protocols = list(program.protocols.order_by("name"))
    form = RouteForm(
        request.POST if request.method == "POST" else None, protocols=protocols, route=shown
    )
    form.show(verbs.route_facts(shown))
    if request.method == "POST" and form.is_valid():
        saved = _saved(request, form, shown.pk)
        if saved:
            return _to_route(request, saved)
    return _form_page(request, form, shown)
