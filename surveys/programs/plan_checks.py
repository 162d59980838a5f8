"""Where the stops of a plan lie: to each other, to the line of their route and to the program."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from django.contrib.gis.db.models import Extent, GeometryField
from django.db.models.functions import Cast

from surveys.language import gettext, said
from surveys.models import Program, Stop
from surveys.programs.area import area_of, outside_in_words, routes_outside
from surveys.programs.geography import Neighbors, Point, along_lines, neighbors, outside, same_place
from surveys.programs.places import FARTHEST_ON_A_ROUTE_M, likely_slip, place_of, places_of
from surveys.programs.protocols import version_on
from surveys.programs.route_plan import Elsewhere, MatchedRoute, PlanFinding, PlanOptions, Spot
from surveys.protocol.values import DistanceUnit, Place
from surveys.protocol.words import distance

# Two stops that near are the same stop twice.
DOUBLE_M = 10.0
OFF_LINE_M = 500.0
# Farther from all present routes, a stop is hardly in the area that the program surveys.
OUTSIDE_M = 50_000.0
# A stop lies so many times nearer to a later one than to the next.
JUMP = 3.0
# Near the ends of a line, where a loop closes, a stop may be found at either end.
_SEAM = 0.02


@dataclass(frozen=True, kw_only=True)
class _Listed:
    """A stop as it will be. `spot` is None for one that the file does not name."""

    code: str
    point: Point
    spot: Spot | None

    @property
    def name(self) -> str:
        return said("Stop {number} of {code}", number=self.point.number, code=self.code)

    def at(self, name: str) -> Spot:
        return Spot(route=self.spot.route, stop=self.spot.stop, field=name)


def check_places(
    program: Program, routes: Sequence[MatchedRoute], options: PlanOptions
) -> list[PlanFinding]:
    """Findings of all the stops of the plan, in the order of its routes."""
    others = _others(program, routes)
    around = [one.point.place for one in others.values()]
    listed = [one for route in routes for one in _listed(route, options, others)]
    if not listed:
        return []
    lines = {route.planned.position: line for route in routes if (line := _line(route))}
    unit = DistanceUnit(program.distance_unit)
    return [
        *_far_off(program, listed),
        *_outside(program, listed, lines, around, unit),
        *_within_routes(listed, _least_spacing(program, options), unit),
        *_twice([*listed, *others.values()]),
        *_along_lines(listed, lines, unit),
    ]


def _listed(
    route: MatchedRoute, options: PlanOptions, others: dict[tuple[int, int], _Listed]
) -> Iterator[_Listed]:
    """The stops of a route: those of the file, and the present ones that it does not name, which
    are taken out of `others`."""
    planned = route.planned
    for stop in route.stops:
        stays = stop.is_elsewhere and options.elsewhere is Elsewhere.KEEP
        place = place_of(stop.present.place) if stays else stop.planned.place
        yield _Listed(
            code=planned.code,
            point=Point(route=planned.position, number=stop.planned.number, place=place),
            spot=Spot(route=planned.position, stop=stop.planned.position),
        )
    if route.present is None:
        return
    named = {stop.planned.number for stop in route.stops}
    for key in [key for key in others if key[0] == route.present.pk]:
        one = others.pop(key)
        if one.point.number not in named:
            point = Point(route=planned.position, number=one.point.number, place=one.point.place)
            yield _Listed(code=planned.code, point=point, spot=None)


def _others(program: Program, routes: Iterable[MatchedRoute]) -> dict[tuple[int, int], _Listed]:
    """The present stops of the program, by route and number. Routes of the file are counted from
    0, so these are counted below."""
    present = Stop.objects.select_related("route").filter(route__program=program, active_until=None)
    return {
        (stop.route_id, stop.number): _Listed(
            code=stop.route.code,
            point=Point(route=-stop.route_id, number=stop.number, place=place_of(stop.place)),
            spot=None,
        )
        for stop in present
    }


def _line(route: MatchedRoute) -> Sequence[Place]:
    if route.planned.line or route.present is None:
        return route.planned.line
    return places_of(route.present.line)


def _least_spacing(program: Program, options: PlanOptions) -> float:
    protocol = program.protocols.filter(pk=options.protocol_id).first()
    version = version_on(protocol, options.first_night) if protocol else None
    return (version.min_stop_spacing_m if version else None) or 0.0


# --- Far off ----------------------------------------------------------------------


def _far_off(program: Program, listed: Sequence[_Listed]) -> Iterator[PlanFinding]:
    """Stops that a usual slip of the hand put far from the program's stops, or of most of the
    file while it has none."""
    known = _box(program) or [_middle([one.point.place for one in listed])]
    for one in listed:
        question = likely_slip(one.point.place, known)
        if one.spot is None or not question:
            continue
        yield PlanFinding(
            kind="slip",
            spot=one.at("latitude"),
            message=said(
                "{stop} is far from the other stops of the program. {question}",
                stop=one.name,
                question=question,
            ),
            remedy=gettext("Correct it, or change all coordinates of the file at once."),
        )


def _outside(
    program: Program,
    listed: Sequence[_Listed],
    lines: Mapping[int, Sequence[Place]],
    around: Sequence[Place],
    unit: DistanceUnit,
) -> Iterator[PlanFinding]:
    """Routes outside the program's area; where it has none, stops away from the present ones."""
    if area_of(program) is None:
        yield from _away(listed, around, unit)
        return
    codes = {one.point.route: one.code for one in listed}
    found = routes_outside(program, [one.point for one in listed], lines)
    for key, route in found.items():
        yield PlanFinding(
            kind="outside_area",
            spot=Spot(route=key),
            message=outside_in_words(codes[key], route, unit),
            remedy=gettext("Check the coordinates, or the program area."),
            blocks=False,
        )


def _away(
    listed: Sequence[_Listed], around: Sequence[Place], unit: DistanceUnit
) -> Iterator[PlanFinding]:
    """Stops away from the area in which the program's present stops lie."""
    for position, meters in outside([one.point for one in listed], around, OUTSIDE_M):
        one = listed[position]
        if one.spot is not None:
            yield PlanFinding(
                kind="outside",
                spot=one.at("latitude"),
                message=said(
                    "{stop} is {distance} outside the area of the present routes.",
                    stop=one.name,
                    distance=distance(meters, unit),
                ),
                remedy=gettext("Check both coordinates."),
                blocks=False,
            )


def _box(program: Program) -> list[Place]:
    """The corners and the middle of the box around the program's present stops."""
    box = Stop.objects.filter(route__program=program, active_until=None).aggregate(
        box=Extent(Cast("place", GeometryField(srid=4326)))
    )["box"]
    if box is None:
        return []
    west, south, east, north = box
    middle = Place(latitude=(south + north) / 2, longitude=(west + east) / 2)
    corners = [
        Place(latitude=latitude, longitude=longitude)
        for latitude in (south, north)
        for longitude in (west, east)
    ]
    return [middle, *corners]


def _middle(places: Sequence[Place]) -> Place:
    return Place(
        latitude=statistics.median(place.latitude for place in places),
        longitude=statistics.median(place.longitude for place in places),
    )


# --- Within a route -----------------------------------------------------------------


def _within_routes(
    listed: Sequence[_Listed], least: float, unit: DistanceUnit
) -> Iterator[PlanFinding]:
    for found in neighbors([one.point for one in listed]):
        one = listed[found.position]
        if one.spot is None:
            continue
        if found.nearest > FARTHEST_ON_A_ROUTE_M:
            yield PlanFinding(
                kind="far",
                spot=one.at("latitude"),
                message=said(
                    "{stop} is {distance} from the other stops of its route.",
                    stop=one.name,
                    distance=distance(found.nearest, unit),
                ),
                remedy=_slip_within(one, listed)
                or gettext("Check both coordinates, and the route."),
            )
        elif found.from_last is not None and DOUBLE_M < found.from_last < least:
            yield PlanFinding(
                kind="spacing",
                spot=one.at("latitude"),
                message=said(
                    "{stop} is {distance} from the last one; the protocol asks for at least "
                    "{least}.",
                    stop=one.name,
                    distance=distance(found.from_last, unit),
                    least=distance(least, unit),
                ),
                remedy=gettext("Check the location. You can import it as it is."),
                blocks=False,
            )
        elif _jumps(found, least):
            yield PlanFinding(
                kind="order",
                spot=one.at("number"),
                message=said(
                    "{stop} is {next} from the next stop, but {later} from stop {number}.",
                    stop=one.name,
                    next=distance(found.to_next, unit),
                    later=distance(found.to_later, unit),
                    number=listed[found.later].point.number,
                ),
                remedy=gettext("Check the numbers: stops are surveyed in their order."),
                blocks=False,
            )


def _slip_within(one: _Listed, listed: Sequence[_Listed]) -> str | None:
    """What would bring a stop back to the others of its route."""
    others = [
        other.point.place
        for other in listed
        if other.point.route == one.point.route and other is not one
    ]
    return likely_slip(one.point.place, others)


def _jumps(found: Neighbors, least: float) -> bool:
    if found.to_later is None or found.to_next is None:
        return False
    return found.to_next > JUMP * found.to_later and found.to_next > 2 * least


# --- Twice, and along the line -------------------------------------------------------


def _twice(listed: Sequence[_Listed]) -> Iterator[PlanFinding]:
    """The same location twice, in the file or in a route that the file leaves alone."""
    for first, second in same_place([one.point for one in listed], DOUBLE_M):
        one, other = listed[first], listed[second]
        if one.spot is None:
            one, other = other, one
        if one.spot is not None:
            yield PlanFinding(
                kind="double",
                spot=one.at("latitude"),
                message=said(
                    "{stop} has the same location as stop {number} of {code}.",
                    stop=one.name,
                    number=other.point.number,
                    code=other.code,
                ),
                remedy=gettext("Skip one of them, unless two routes share it."),
                blocks=False,
            )


def _along_lines(
    listed: Sequence[_Listed], lines: dict[int, Sequence[Place]], unit: DistanceUnit
) -> Iterator[PlanFinding]:
    shares: dict[int, list[tuple[_Listed, float]]] = {}
    for position, meters, share in along_lines([one.point for one in listed], lines):
        one = listed[position]
        shares.setdefault(one.point.route, []).append((one, share))
        if one.spot is not None and meters > OFF_LINE_M:
            yield PlanFinding(
                kind="off_line",
                spot=one.at("latitude"),
                message=said(
                    "{stop} is {distance} from the line of its route.",
                    stop=one.name,
                    distance=distance(meters, unit),
                ),
                remedy=gettext("Check the location, or draw the line again later."),
                blocks=False,
            )
    for on_line in shares.values():
        yield from _out_of_order(on_line)


def _out_of_order(on_line: Sequence[tuple[_Listed, float]]) -> Iterator[PlanFinding]:
    """Stops follow their line, forward or backward."""
    inner = [pair for pair in on_line if _SEAM < pair[1] < 1 - _SEAM]
    back = [after < before for (_, before), (_, after) in pairwise(inner)]
    if not any(back) or all(back):
        return
    mostly_back = sum(back) > len(back) / 2
    one, _ = inner[back.index(not mostly_back) + 1]
    if one.spot is not None:
        yield PlanFinding(
            kind="order",
            spot=one.at("number"),
            message=said("{stop} lies behind an earlier stop on the line.", stop=one.name),
            remedy=gettext("Check the numbers: stops are surveyed in their order."),
            blocks=False,
        )
