"""The first night of the stops of a route, which past visits may lead further back."""

import datetime as dt
from collections.abc import Mapping

from django.db import transaction
from django.db.models import Min

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.models import Route, Stop


@transaction.atomic
def begin_earlier(member: Membership, nights: Mapping[str, dt.date]) -> int:
    """Let the first stops of routes begin on an earlier night; `nights` has it by code of the
    route. Stops that were added later, or in place of others, stay as they are. Returns the number
    of stops that were changed."""
    require(member, Permission.MANAGE)
    routes = Route.objects.select_for_update().filter(program=member.program, code__in=nights)
    changed = []
    for route in routes.order_by("pk"):
        first = route.stops.aggregate(first=Min("active_from"))["first"]
        night = nights[route.code]
        if first is not None and night < first:
            for stop in route.stops.filter(active_from=first):
                stop.active_from = night
                changed.append(stop)
    Stop.objects.bulk_update(changed, ["active_from"])
    return len(changed)
