"""Stops proposed along the line of a route, as far apart as the protocol asks."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.language import gettext, said, said_of
from surveys.models import ProtocolVersion, Route, Stop
from surveys.programs.geography import every, length_m
from surveys.programs.places import places_of, point_of
from surveys.programs.routes import route_of
from surveys.protocol.distance import distance_m
from surveys.protocol.values import DistanceUnit, Place
from surveys.protocol.words import distance

MOST_STOPS = 100
LEAST_SPACING_M = 50.0
# Where the protocol says nothing, or less.
USUAL_SPACING_M = 800.0
USUAL_STOPS = 10
LONGEST_LINE_M = 300_000.0
# Where the road winds, a stop is looked for this much farther on, again and again.
_STEP_M = 10.0
# Coordinates are shown and typed to six digits. No two stops may come nearer than asked by that.
_ROUNDING_M = 0.5


def usual(version: ProtocolVersion | None) -> tuple[float, int]:
    """Spacing and number of stops that a protocol asks for."""
    spacing = version.min_stop_spacing_m if version else None
    # A visit may have fewer stops than its route.
    most = max((version.min_stops if version else None) or 0, USUAL_STOPS)
    return max(spacing or USUAL_SPACING_M, LEAST_SPACING_M), min(most, MOST_STOPS)


def propose(line: Sequence[Place], *, spacing: float, most: int) -> list[Place]:
    """The start of the line, and then each time the first place that is at least `spacing` meters
    from every stop before, along the road and across country.

    Raises ValidationError by field.
    """
    _check(line, spacing, most)
    wanted = spacing + _ROUNDING_M
    step = wanted / math.ceil(wanted / _STEP_M)
    proposed: list[Place] = []
    last = -wanted
    for along, place in every(line, step):
        # The steps of a straight road fall on the spacing, but for the rounding of the sum.
        far_enough = along - last > wanted - _ROUNDING_M / 2
        if far_enough and all(
            distance_m(place, other) > wanted - _ROUNDING_M / 2 for other in proposed
        ):
            proposed.append(place)
            last = along
        if len(proposed) == most:
            break
    return proposed


def _check(line: Sequence[Place], spacing: float, most: int) -> None:
    if len(line) < 2:
        raise ValidationError(gettext("The route has no line yet. Draw or import one first."))
    if not (math.isfinite(spacing) and spacing >= LEAST_SPACING_M):
        raise ValidationError(
            {"spacing": said("Stops are at least {least} apart.", least=_both(LEAST_SPACING_M))}
        )
    if not 1 <= most <= MOST_STOPS:
        raise ValidationError(
            {"most": said("Propose between 1 and {most} stops.", most=MOST_STOPS)}
        )
    if length_m(line) > LONGEST_LINE_M:
        raise ValidationError(
            said(
                "The line is longer than {longest}. Check its points.",
                longest=_both(LONGEST_LINE_M),
            )
        )


def _both(meters: float) -> str:
    """A length for readers of either unit: `50 m (164 ft)`."""
    metric, imperial = (distance(meters, unit) for unit in DistanceUnit)
    return f"{metric} ({imperial})"


@transaction.atomic
def add_proposed(
    member: Membership, route_id: int, *, spacing: float, most: int, first_night: dt.date
) -> list[Stop]:
    """Open the proposed stops, numbered from 1, on a route that has none.

    Raises ValidationError by field.
    """
    require(member, Permission.MANAGE)
    route = route_of(member.program, route_id)
    Route.objects.select_for_update().get(pk=route.pk)
    present = route.stops.filter(active_until=None).count()
    if present:
        raise ValidationError(
            said_of(
                "The route has {number} stop already. Add, move or close stops one by one.",
                "The route has {number} stops already. Add, move or close stops one by one.",
                present,
            )
        )
    if route.stops.filter(active_until__gte=first_night).exists():
        raise ValidationError(
            {"first_night": gettext("Stops of the route were closed later. Choose a later night.")}
        )
    places = propose(places_of(route.line), spacing=spacing, most=most)
    return Stop.objects.bulk_create(
        Stop(
            route=route,
            number=number,
            name=said("Stop {number}", number=number),
            place=point_of(place),
            active_from=first_night,
        )
        for number, place in enumerate(places, start=1)
    )
