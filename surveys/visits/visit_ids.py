"""The id of somebody's visit to a route on a night, so that all who begin it begin the same."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Collection

from django.utils.crypto import salted_hmac

from accounts.models import Membership
from surveys.models import Route, Visit
from surveys.visits.access import EDITABLE
from surveys.visits.discarded import discarded_ids

# What the ids of phones in the field are made of.
_SALT = "surveys.packets"


def visit_id(
    member: Membership, route: Route, night: dt.date, closed: Collection[uuid.UUID]
) -> uuid.UUID:
    """Two phones of one person make the same, and so does a sheet, so that what is written down
    anywhere comes together in one visit; nobody else can guess it. After the `closed` ones another
    visit on that night is new."""
    seed = f"{member.person_id}/{route.pk}/{night.isoformat()}"
    made = uuid.UUID(bytes=salted_hmac(_SALT, seed).digest()[:16], version=4)
    return uuid.uuid4() if made in closed else made


def closed_visits(member: Membership, route: Route) -> set[uuid.UUID]:
    """Ids of own visits that were handed in or thrown away."""
    visits = Visit.objects.filter(route=route, observer=member.person)
    submitted = visits.exclude(state__in=EDITABLE).values_list("pk", flat=True)
    return {*submitted, *discarded_ids(member)}


def open_visit(member: Membership, route: Route, night: dt.date) -> Visit | None:
    """The own visit of that night that is still being filled, the one with most in it."""
    own = Visit.objects.filter(route=route, observer=member.person, night=night, state__in=EDITABLE)
    return max(own, key=lambda visit: len(visit.cells), default=None)
