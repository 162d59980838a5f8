"""Problems of visits before the protocol or the stops of their route begin."""

import datetime as dt
from collections.abc import Sequence

from surveys.dates import day
from surveys.importing.gathered import GatheredSheet, Placed
from surveys.importing.problems import Problem, ProblemKind
from surveys.language import gettext, said
from surveys.models import Route
from surveys.visits.bulk import ProgramSnapshot


def without_protocol(visit: Placed, rows: Sequence[int]) -> Problem:
    return Problem(
        row=visit.first_row,
        rows=tuple(dict.fromkeys(rows)),
        kind=ProblemKind.ROWS,
        message=said("No protocol of the route was in effect on {night}.", night=day(visit.night)),
        remedy=gettext("Check the date, or enter a protocol version for that time first."),
    )


def stops_begin(snapshot: ProgramSnapshot, route: Route) -> dt.date:
    stops = snapshot.stops.get(route.pk, ())
    return min((stop.active_from for stop in stops), default=dt.date.min)


def before_stops(sheet: GatheredSheet, route: Route, begin: dt.date) -> Problem:
    """One problem for all stops: the other refusals are looked for once there are stops."""
    return Problem(
        row=sheet.rows[0],
        rows=tuple(sheet.rows),
        kind=ProblemKind.ROWS,
        message=said(
            "The stops of route {route} begin later, on {begin}.",
            route=route.name,
            begin=day(begin),
        ),
        remedy=gettext("Let the stops begin earlier, or check the date."),
    )
