"""Tonight: the observer's home, a route on a night, and its printable sheet."""

import datetime as dt

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from surveys.check_ins.verbs import open_check_in
from surveys.language import gettext, said
from surveys.models import Route
from surveys.protocol.nights import night_of
from surveys.protocol.words import listed
from surveys.seasons.heard_on_route import heard_on
from surveys.visits.loading import checklist_on
from surveys.visits.tonight import (
    RouteTonight,
    all_routes,
    coordinator_names,
    likely_species,
    route_on_night,
    tonight_for,
)
from surveys.web.calls.page import calls_of
from surveys.web.maps import route_map
from surveys.web.tonight.fieldsheet import (
    PAPERS,
    field_sheet_pdf,
)


@require_GET
@needs(Permission.SURVEY)
def tonight(request: ProgramRequest) -> HttpResponse:
    member = request.membership
    evening = tonight_for(member, timezone.now())
    likely = likely_species(member.program, evening.night)
    return render(
        request,
        "tonight/tonight.html",
        {
            "evening": evening,
            "zone": member.program.time_zone,
            "others": all_routes(member),
            "coordinators": coordinator_names(member),
            "open": open_check_in(member),
            "likely": calls_of(member, likely),
        },
    )


@require_GET
@needs(Permission.SURVEY)
def route(request: ProgramRequest, code: str) -> HttpResponse:
    """A route with its map, hours and limits, tonight or on the night in `?night=`."""
    route_tonight = _route_or_404(request, code)
    heard = heard_on(route_tonight.route)
    rows = [(one, list(zip(heard.years, cells, strict=True))) for one, cells in heard.rows]
    return render(
        request,
        "tonight/route.html",
        {
            "heard": heard,
            "rows": rows,
            "route_tonight": route_tonight,
            "zone": request.membership.program.time_zone,
            "map": route_map(route_tonight.route, route_tonight.stops),
            "papers": PAPERS,
        },
    )


@require_GET
@needs(Permission.SURVEY)
def field_sheet(request: ProgramRequest, code: str) -> HttpResponse:
    """The sheet for a night without a phone, letter or A4."""
    paper = request.GET.get("paper", "a4")
    if paper not in PAPERS:
        raise Http404(said("The sheet comes as {papers}.", papers=listed(PAPERS.values(), "or")))
    route_tonight = _route_or_404(request, code)
    checklist = checklist_on(request.membership.program, route_tonight.night)
    pdf = field_sheet_pdf(route_tonight, request.membership, checklist, paper)
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = (
        f'inline; filename="{route_tonight.route.code}-sheet-{paper}.pdf"'
    )
    return response


def _route_or_404(request: ProgramRequest, code: str) -> RouteTonight:
    try:
        route_tonight = route_on_night(request.membership, code, _night(request))
    except Route.DoesNotExist as missing:
        raise Http404(gettext("The program has no such route.")) from missing
    if route_tonight is None:
        raise Http404(gettext("No protocol is in effect for this route on that night."))
    return route_tonight


def _night(request: HttpRequest) -> dt.date:
    requested = request.GET.get("night", "")
    try:
        return dt.date.fromisoformat(requested)
    except ValueError:
        return night_of(timezone.now(), request.membership.program.time_zone)
