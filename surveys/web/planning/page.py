"""What an observer's season and the list of free routes show."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from accounts.models import Membership
from surveys.language import said
from surveys.models import RequestState, RouteRequest, Stop
from surveys.planning.free_routes import FreeRoute
from surveys.planning.nearness import meters_from_person
from surveys.programs.cover import Assigned, Goer
from surveys.programs.versions import units_of
from surveys.protocol.words import distance
from surveys.seasons.coverage import Coverage, CoverageCell, CoverageTable
from surveys.web.planning.forms import WishForm


@dataclass(frozen=True, kw_only=True)
class OwnWindow:
    """One window in which a member has to do with a route; `words` say what they need not do.
    `assignment` is their own; `named` are the substitutes of which they are one side, by id."""

    route: str
    code: str
    cell: CoverageCell
    words: str
    is_going: bool
    is_for_others: bool
    assignment: int | None
    named: tuple[int, ...]

    @property
    def is_done(self) -> bool:
        return self.cell.coverage in (Coverage.DONE, Coverage.IN_REVIEW)


@dataclass(frozen=True, kw_only=True)
class FreeRow:
    """`number` is that of the sign on the map; `distance` in words from the nearest stop that the
    observer knows; blank: unknown."""

    number: int
    free: FreeRoute
    distance: str
    form: WishForm
    asked: tuple[RouteRequest, ...]


def own_windows(table: CoverageTable, member: Membership) -> list[OwnWindow]:
    """In order of opening: where the member goes, and where they are assigned and do not go."""
    found = []
    for row in table.rows:
        for cell in row.cells:
            if cell is None or cell.coverage is Coverage.MISSED:
                continue
            goer = next((one for one in cell.cover.going if one.member == member), None)
            words = _words(goer, cell, member)
            is_for_others = goer is not None and goer.instead_of is not None
            parts = [one for one in table.plan.of_route(row.route_id) if one.has(cell.window.name)]
            own = next((one for one in parts if one.member == member), None)
            if goer is None and not words:
                continue
            found.append(
                OwnWindow(
                    route=f"{row.code} {row.name}",
                    code=row.code,
                    cell=cell,
                    words=words,
                    is_going=goer is not None,
                    is_for_others=is_for_others,
                    assignment=own.id if own else None,
                    named=_named(parts, cell.window.name, member, is_for_others),
                )
            )
    return sorted(found, key=lambda one: (one.cell.window.opens, one.code))


def _named(
    parts: Sequence[Assigned], window: str, member: Membership, is_for_others: bool
) -> tuple[int, ...]:
    """The substitutes whom the member named, or those as which they go."""
    return tuple(
        one.substitute_ids[window]
        for one in parts
        if window in one.substitutes
        and (one.substitutes[window] if is_for_others else one.member) == member
    )


def _words(goer: Goer | None, cell: CoverageCell, member: Membership) -> str:
    if goer is not None:
        if goer.instead_of is None:
            return ""
        return said("You fill in for {name}.", name=goer.instead_of.person.name)
    for other in cell.cover.going:
        if other.instead_of == member:
            return said("{name} fills in for you.", name=other.member.person.name)
    if member in cell.cover.away:
        return said("You cannot go, and no one fills in for you yet.")
    return ""


def free_rows(
    member: Membership,
    found: Sequence[FreeRoute],
    requests: Iterable[RouteRequest],
    tried: tuple[int, WishForm] | None = None,
) -> list[FreeRow]:
    """Near ones first. `tried`: a form that was refused, by the id of its route."""
    program = member.program
    meters = meters_from_person(program, member.person_id)
    unit = units_of(program).distance
    asked: dict[int, list[RouteRequest]] = {}
    for request in requests:
        if request.state == RequestState.ASKED:
            asked.setdefault(request.route_id, []).append(request)
    far = float("inf")
    near_first = sorted(found, key=lambda one: (meters.get(one.route.pk, far), one.route.code))
    return [
        FreeRow(
            number=number,
            free=free,
            distance=distance(meters[free.route.pk], unit) if meters.get(free.route.pk) else "",
            form=tried[1]
            if tried is not None and tried[0] == free.route.pk
            else WishForm(free=free, is_taken=program.routes_are_taken),
            asked=tuple(asked.get(free.route.pk, ())),
        )
        for number, free in enumerate(near_first, start=1)
    ]


def free_map(rows: Sequence[FreeRow], today: dt.date) -> dict[str, Any]:
    """A sign for each free route at its first stop, with its number in the list."""
    first: dict[int, Stop] = {}
    stops = Stop.objects.filter(
        route__in=[row.free.route.pk for row in rows], active_until=None, active_from__lte=today
    )
    for stop in stops.order_by("route_id", "number"):
        first.setdefault(stop.route_id, stop)
    return {
        "type": "FeatureCollection",
        "features": [
            _sign(row, first[row.free.route.pk]) for row in rows if row.free.route.pk in first
        ],
    }


def _sign(row: FreeRow, stop: Stop) -> dict[str, Any]:
    route = row.free.route
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [stop.place.x, stop.place.y]},
        "properties": {
            "kind": "stop",
            "number": row.number,
            "title": str(route),
            "lines": [window.name for window in row.free.windows],
            "url": f"#route-{route.pk}",
            "link": said("To {route} in the list", route=route.code),
        },
    }
