"""Stops of a route. A stop never moves once somebody listened there: it is closed,
and another one opens under the same number."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.contrib.gis.geos import LineString
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, F, FloatField, Func, OuterRef, Q, Window
from django.db.models.functions import Lag
from django.shortcuts import get_object_or_404

from accounts.access import (
    Permission,
    require,
)
from accounts.edit_conflicts import (
    Facts,
    Seen,
    check_seen,
)
from accounts.models import Membership
from surveys.dates import day
from surveys.language import gettext, said
from surveys.models import (
    Habitat,
    Hydroperiod,
    ListeningPeriod,
    Presence,
    Program,
    Route,
    Stop,
)
from surveys.programs.places import (
    FARTHEST_ON_A_ROUTE_M,
    likely_slip,
    place_of,
    point_of,
)
from surveys.protocol.distance import distance_m
from surveys.protocol.values import DistanceUnit, Place
from surveys.protocol.words import distance

ONE_DAY = dt.timedelta(days=1)
# Less than this is the rounding of typed coordinates, not a move.
LEAST_MOVE_M = 0.5
DEGREE_PLACES = 6


@dataclass(frozen=True, kw_only=True)
class StopFacts:
    """What is known of a stop besides its number, its place and its dates."""

    name: str
    road: str = ""
    county: str = ""
    habitat: str = Habitat.OTHER
    hydroperiod: str = Hydroperiod.UNKNOWN
    fish: str = Presence.UNKNOWN
    last_burn: dt.date | None = None
    notes: str = ""


def present_stops(route: Route) -> list[Stop]:
    """Stops that are not closed, in driving order.

    Each carries `meters_from_last`: the length on the WGS84 ellipsoid to the stop
    before it, by PostGIS; None for the first.
    """
    before = Window(Lag("place"), order_by=F("number").asc())
    return list(
        route.stops.filter(active_until=None)
        .annotate(
            meters_from_last=Func(
                F("place"), before, function="ST_Distance", output_field=FloatField()
            )
        )
        .order_by("number")
    )


def closed_stops(route: Route) -> list[Stop]:
    return list(route.stops.exclude(active_until=None).order_by("number", "active_from").all())


def straight_line(stops: Sequence[Stop]) -> LineString | None:
    """The stops joined in driving order; None with fewer than two."""
    if len(stops) < 2:
        return None
    return LineString([(stop.place.x, stop.place.y) for stop in stops], srid=4326)


def stop_of(program: Program, stop_id: int) -> Stop:
    """One stop of the program, with `was_surveyed`. Raises Http404."""
    listened = ListeningPeriod.objects.filter(stop=OuterRef("pk"))
    return get_object_or_404(
        Stop.objects.select_related("route__protocol", "route__program").annotate(
            was_surveyed=Exists(listened)
        ),
        route__program=program,
        pk=stop_id,
    )


def stop_facts(stop: Stop) -> Facts:
    """What the form of a stop shows of it; coordinates as exactly as it shows them."""
    place = place_of(stop.place)
    return {
        gettext("Number"): str(stop.number),
        gettext("Name"): stop.name,
        gettext("Nearest road"): stop.road,
        gettext("County"): stop.county,
        gettext("Latitude"): f"{place.latitude:.{DEGREE_PLACES}f}",
        gettext("Longitude"): f"{place.longitude:.{DEGREE_PLACES}f}",
        gettext("First night"): day(stop.active_from),
        gettext("Last night"): day(stop.active_until) if stop.active_until else "",
        gettext("Habitat"): stop.get_habitat_display(),
        gettext("Holds water"): stop.get_hydroperiod_display(),
        gettext("Fish in the water"): stop.get_fish_display(),
        gettext("Last burn"): day(stop.last_burn) if stop.last_burn else "",
        gettext("Notes"): stop.notes,
    }


def next_number(route: Route) -> int:
    """The number after the highest of the present stops."""
    highest = route.stops.filter(active_until=None).order_by("-number").first()
    return highest.number + 1 if highest else 1


# --- Checks -------------------------------------------------------------------


def _check_number(
    route: Route,
    number: int,
    first: dt.date,
    last: dt.date | None = None,
    *,
    but: int | None = None,
) -> None:
    """No other stop of the route may bear the number between `first` and `last`."""
    twins = route.stops.filter(number=number).exclude(pk=but)
    twins = twins.filter(Q(active_until=None) | Q(active_until__gte=first))
    if last:
        twins = twins.filter(active_from__lte=last)
    twin = twins.order_by("active_from").first()
    if twin is None:
        return
    until = (
        said("until {day}", day=day(twin.active_until))
        if twin.active_until
        else gettext("and is not closed")
    )
    raise ValidationError(
        {
            "number": said(
                "Number {number} belongs to the stop “{twin_name}”, which is surveyed "
                "from {day} {until}. Use another number, or close that stop first.",
                number=number,
                twin_name=twin.name,
                day=day(twin.active_from),
                until=until,
            )
        }
    )


def check_place(route: Route, place: Place, *, but: int | None = None) -> None:
    """A route is surveyed in one night, so its stops lie together."""
    on_route = [place_of(stop.place) for stop in route.stops.exclude(pk=but)]
    near = on_route or [
        place_of(stop.place)
        for stop in Stop.objects.filter(route__program_id=route.program_id).exclude(pk=but)
    ]
    if on_route and min(distance_m(place, other) for other in on_route) > FARTHEST_ON_A_ROUTE_M:
        away = min(distance_m(place, other) for other in on_route)
        question = likely_slip(place, on_route) or gettext("Check both numbers.")
        raise ValidationError(
            {
                "latitude": said(
                    "This is {away} from the other stops of the route. {question}",
                    away=distance(away, DistanceUnit(route.program.distance_unit)),
                    question=question,
                )
            }
        )
    question = likely_slip(place, near)
    if question:
        raise ValidationError(
            {
                "latitude": said(
                    "This is far from every other stop of the program. {question}",
                    question=question,
                )
            }
        )


def _check_first_night(stop: Stop, active_from: dt.date) -> None:
    if stop.active_until and active_from > stop.active_until:
        raise ValidationError(
            {
                "active_from": said(
                    "The stop was closed on {day}, which is earlier.", day=day(stop.active_until)
                )
            }
        )
    earliest = (
        stop.periods.filter(visit__night__lt=active_from)
        .order_by("visit__night")
        .values_list("visit__night", flat=True)
        .first()
    )
    if earliest:
        raise ValidationError(
            {
                "active_from": said(
                    "There is a visit to this stop on {day}. It cannot open after that night.",
                    day=day(earliest),
                )
            }
        )


def _check_last_night(stop: Stop, last_night: dt.date) -> None:
    if stop.active_until:
        raise ValidationError(
            said("This stop was closed on {day} already.", day=day(stop.active_until))
        )
    if last_night < stop.active_from:
        raise ValidationError(
            {
                "last_night": said(
                    "The stop opened on {day}. It cannot close before that.",
                    day=day(stop.active_from),
                )
            }
        )
    later = (
        stop.periods.filter(visit__night__gt=last_night)
        .order_by("-visit__night")
        .values_list("visit__night", flat=True)
        .first()
    )
    if later:
        raise ValidationError(
            {
                "last_night": said(
                    "There is a visit to this stop on {day}. It cannot close before that night.",
                    day=day(later),
                )
            }
        )


def _locked_route(member: Membership, route_id: int) -> Route:
    return get_object_or_404(Route.objects.select_for_update(), program=member.program, pk=route_id)


def locked_stop(member: Membership, stop_id: int) -> Stop:
    """The stop, with its route locked: numbers and dates are checked along the route."""
    stop = stop_of(member.program, stop_id)
    _locked_route(member, stop.route_id)
    return stop_of(member.program, stop_id)


def _write(stop: Stop, facts: StopFacts) -> Stop:
    stop.name, stop.road, stop.county = facts.name.strip(), facts.road.strip(), facts.county.strip()
    stop.habitat, stop.hydroperiod = facts.habitat, facts.hydroperiod
    stop.fish, stop.last_burn, stop.notes = facts.fish, facts.last_burn, facts.notes
    stop.full_clean(exclude=["place"], validate_constraints=False)
    stop.save()
    return stop


# --- Verbs --------------------------------------------------------------------


@transaction.atomic
def add_stop(
    member: Membership,
    route_id: int,
    *,
    number: int,
    place: Place,
    active_from: dt.date,
    facts: StopFacts,
) -> Stop:
    """Open a stop from the night `active_from` on. Raises ValidationError by field."""
    require(member, Permission.MANAGE)
    route = _locked_route(member, route_id)
    _check_number(route, number, active_from)
    check_place(route, place)
    stop = Stop(route=route, number=number, place=point_of(place), active_from=active_from)
    return _write(stop, facts)


@transaction.atomic
def change_stop(
    member: Membership,
    stop_id: int,
    *,
    number: int,
    place: Place,
    active_from: dt.date,
    facts: StopFacts,
    seen: Seen | None = None,
) -> Stop:
    """Correct a stop. Number and place stand fast once it was surveyed.

    Raises ValidationError by field, EditConflict.
    """
    require(member, Permission.MANAGE)
    stop = locked_stop(member, stop_id)
    check_seen(member, seen, stop_facts(stop), [stop.events.all()])
    moved = distance_m(place, place_of(stop.place)) > LEAST_MOVE_M
    if stop.was_surveyed and (moved or number != stop.number):
        raise ValidationError(
            gettext(
                "Visits have been made to this stop, so its number and place stay. If the"
                " listening point moves, use “Move this stop”; if its location was mistyped, use"
                " “Correct the location”."
            )
        )
    _check_first_night(stop, active_from)
    _check_number(stop.route, number, active_from, stop.active_until, but=stop.pk)
    if moved:
        check_place(stop.route, place, but=stop.pk)
        stop.place = point_of(place)
    stop.number, stop.active_from = number, active_from
    return _write(stop, facts)


@transaction.atomic
def close_stop(member: Membership, stop_id: int, *, last_night: dt.date, reason: str) -> Stop:
    """End a stop after `last_night`. Its visits stay. The reason goes into its notes."""
    require(member, Permission.MANAGE)
    stop = locked_stop(member, stop_id)
    _close(stop, last_night, reason)
    return stop


def _close(stop: Stop, last_night: dt.date, reason: str) -> None:
    if not reason.strip():
        raise ValidationError(
            {"reason": gettext("Say why, in a few words. It is kept with the stop.")}
        )
    _check_last_night(stop, last_night)
    stop.active_until = last_night
    note = said("Closed after {day}: {reason}", day=day(last_night), reason=reason.strip())
    stop.notes = f"{stop.notes.rstrip()}\n{note}".strip()
    stop.save()


@transaction.atomic
def move_stop(
    member: Membership,
    stop_id: int,
    *,
    first_night: dt.date,
    place: Place,
    reason: str,
    facts: StopFacts,
) -> Stop:
    """Close a stop and open another one under its number from `first_night` on."""
    require(member, Permission.MANAGE)
    old = locked_stop(member, stop_id)
    try:
        _close(old, first_night - ONE_DAY, reason)
    except ValidationError as refusal:
        raise _said_of_first_night(refusal) from refusal
    return add_stop(
        member,
        old.route_id,
        number=old.number,
        place=place,
        active_from=first_night,
        facts=facts,
    )


def _said_of_first_night(refusal: ValidationError) -> ValidationError:
    if not hasattr(refusal, "error_dict"):
        return refusal
    errors = dict(refusal.message_dict)
    if "last_night" in errors:
        errors["first_night"] = errors.pop("last_night")
    return ValidationError(errors)
