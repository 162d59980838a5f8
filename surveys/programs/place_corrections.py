"""The place of a stop that was mistyped is corrected; one that moves is a new stop (`stops`)."""

from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from accounts.access import Permission, require
from accounts.edit_conflicts import Seen, check_seen
from accounts.models import Membership
from surveys.dates import day
from surveys.language import gettext, said
from surveys.models import Stop
from surveys.programs.places import place_of, point_of
from surveys.programs.stops import (
    DEGREE_PLACES,
    LEAST_MOVE_M,
    check_place,
    locked_stop,
    stop_facts,
)
from surveys.protocol.distance import distance_m
from surveys.protocol.values import Place


@transaction.atomic
def correct_place(
    member: Membership, stop_id: int, *, place: Place, reason: str, seen: Seen | None = None
) -> Stop:
    """Put a stop where it always was, when its place was mistyped. Visits stay with it. The reason
    and the place of before go into its notes.

    Raises ValidationError by field, EditConflict.
    """
    require(member, Permission.MANAGE)
    stop = locked_stop(member, stop_id)
    check_seen(member, seen, stop_facts(stop), [stop.events.all()])
    if not reason.strip():
        raise ValidationError(
            {"reason": gettext("Say why, in a few words. It is kept with the stop.")}
        )
    before = place_of(stop.place)
    if distance_m(place, before) <= LEAST_MOVE_M:
        raise ValidationError(
            {"latitude": gettext("This is where the stop is already. Nothing was changed.")}
        )
    check_place(stop.route, place, but=stop.pk)
    stop.place = point_of(place)
    note = said(
        "Location corrected on {day}, before {latitude}, {longitude}: {reason}",
        day=day(timezone.localdate(timezone=ZoneInfo(member.program.time_zone))),
        latitude=f"{before.latitude:.{DEGREE_PLACES}f}",
        longitude=f"{before.longitude:.{DEGREE_PLACES}f}",
        reason=reason.strip(),
    )
    stop.notes = f"{stop.notes.rstrip()}\n{note}".strip()
    stop.save(update_fields=["place", "notes"])
    return stop
