"""How far people would have to go: from the stops they know to those of another route."""

from __future__ import annotations

from django.db import connection

from surveys.models import Program

# What somebody knows: routes they are or were assigned to, or surveyed.
_NEAREST = """
    WITH known AS (
        SELECT assignment.observer_id AS person, assignment.route_id AS route
        FROM surveys_assignment AS assignment
        JOIN surveys_route AS route ON route.id = assignment.route_id
        WHERE route.program_id = %(program)s
        UNION
        SELECT visit.observer_id, visit.route_id
        FROM surveys_visit AS visit JOIN surveys_route AS route ON route.id = visit.route_id
        WHERE route.program_id = %(program)s AND visit.state <> 'set_aside'
    )
    SELECT known.person, there.route_id, min(ST_Distance(here.place, there.place))
    FROM known
    JOIN surveys_stop AS here ON here.route_id = known.route AND here.active_until IS NULL
    JOIN surveys_stop AS there ON there.active_until IS NULL
    JOIN surveys_route AS route ON route.id = there.route_id AND route.program_id = %(program)s
    WHERE (%(person)s::bigint IS NULL OR known.person = %(person)s)
      AND (%(route)s::bigint IS NULL OR there.route_id = %(route)s)
    GROUP BY known.person, there.route_id
"""


def meters_to_route(program: Program, route_id: int) -> dict[int, float]:
    """Meters between the nearest stops of a route and of those that each person knows, by the id
    of the person; 0 for the route itself. Nobody is in it who knows no route."""
    return {person: meters for person, _, meters in _rows(program, route=route_id)}


def meters_from_person(program: Program, person_id: int) -> dict[int, float]:
    """The same for one person, by the id of the route."""
    return {route: meters for _, route, meters in _rows(program, person=person_id)}


def _rows(
    program: Program, *, person: int | None = None, route: int | None = None
) -> list[tuple[int, int, float]]:
    with connection.cursor() as cursor:
        cursor.execute(_NEAREST, {"program": program.pk, "person": person, "route": route})
        return cursor.fetchall()
