"""Routes: what they are called, which protocol they follow, whether they are surveyed."""

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, Q, QuerySet
from django.shortcuts import get_object_or_404

from accounts.access import (
    Permission,
    require,
)
from accounts.edit_conflicts import (
    Facts,
    Seen,
    check_seen,
    yes_or_no,
)
from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import (
    Program,
    Route,
)


def routes_of(program: Program) -> QuerySet[Route]:
    """All routes by code, active ones first, each with `stop_count` of its present stops."""
    return (
        program.routes.select_related("protocol")
        .annotate(stop_count=Count("stops", filter=Q(stops__active_until=None)))
        .order_by("-active", "code")
    )


def route_of(program: Program, route_id: int) -> Route:
    """One route of the program. Raises Http404."""
    return get_object_or_404(program.routes.select_related("protocol", "program"), pk=route_id)


def route_facts(route: Route) -> Facts:
    """What the form of a route shows of it."""
    return {
        gettext("Code"): route.code,
        gettext("Name"): route.name,
        gettext("Region"): route.region,
        gettext("Stratum"): route.stratum,
        gettext("Protocol"): str(route.protocol),
        gettext("How it was chosen"): route.get_chosen_display(),
        gettext("Access"): route.access_notes,
        gettext("This route is surveyed"): yes_or_no(route.active),
    }


def _check_code(program: Program, route: Route) -> None:
    twin = program.routes.filter(code__iexact=route.code).exclude(pk=route.pk).first()
    if twin:
        raise ValidationError(
            {
                "code": said(
                    "Route “{twin_name}” has the code {twin_code} already. Choose another.",
                    twin_name=twin.name,
                    twin_code=twin.code,
                )
            }
        )


@transaction.atomic
def save_route(
    member: Membership,
    *,
    route_id: int | None = None,
    code: str,
    name: str,
    region: str,
    protocol_id: int,
    access_notes: str,
    active: bool,
    chosen: str | None = None,
    stratum: str | None = None,
    seen: Seen | None = None,
) -> Route:
    """Add a route, or change one (`route_id`), that is still as it was `seen`. How it was chosen
    stays as it is where `chosen` is None, as does its `stratum`.

    Raises ValidationError by field, EditConflict.
    """
    require(member, Permission.MANAGE)
    Program.objects.select_for_update().get(pk=member.program_id)
    if route_id is None:
        route = Route(program=member.program)
    else:
        route = route_of(member.program, route_id)
        check_seen(member, seen, route_facts(route), [route.events.all()])
    protocol = get_object_or_404(member.program.protocols, pk=protocol_id)
    if route_id is not None and protocol.pk != route.protocol_id and route.visits.exists():
        raise ValidationError(
            {
                "protocol": said(
                    "Route {route_code} has visits under “{protocol}”. To survey the same "
                    "road under another protocol, add a route with a code of its own.",
                    route_code=route.code,
                    protocol=route.protocol,
                )
            }
        )
    route.code, route.name, route.region = code.strip(), name.strip(), region.strip()
    route.protocol, route.access_notes, route.active = protocol, access_notes, active
    if chosen is not None:
        route.chosen = chosen
    if stratum is not None:
        route.stratum = stratum.strip()
    _check_code(member.program, route)
    route.full_clean()
    route.save()
    return route
