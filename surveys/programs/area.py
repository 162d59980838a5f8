"""The area that a program surveys: drawn or from a file, and which routes lie outside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.contrib.gis.geos import LinearRing, MultiPolygon, Polygon
from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.access import Permission, require
from accounts.edit_conflicts import Facts, Seen, check_seen
from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import Program, ProgramArea, Stop
from surveys.programs.area_geography import (
    fault_of,
    joined,
    lines_outside,
    places_outside,
    size_m2,
)
from surveys.programs.geography import Point
from surveys.programs.lines import FIELD, read_line
from surveys.programs.places import place_of, places_of
from surveys.programs.stops import DEGREE_PLACES
from surveys.protocol.values import DistanceUnit, Place
from surveys.protocol.words import distance, number

# Twice the corners that the outline of a large state has at 100 m.
MOST_CORNERS = 20_000
_SQUARE_M = {DistanceUnit.KILOMETERS: 1e6, DistanceUnit.MILES: 1609.344**2}
_CROSSING = "Self-intersection"

# Rings of corners, the outer one first, of each polygon.
Outlines = Sequence[Sequence[Sequence[Place]]]


@dataclass(frozen=True, kw_only=True)
class RouteOutside:
    """A route with stops or a part of its line outside the area. `farthest_m` is 0 where only the
    line leaves it, `line_m` is how much of the line does."""

    key: int
    stops: int
    outside: int
    farthest_m: float
    line_m: float


def area_of(program: Program) -> ProgramArea | None:
    return ProgramArea.objects.filter(program=program).select_related("saved_by").first()


def area_facts(area: ProgramArea | None) -> Facts:
    """What the form of the area shows of it."""
    outline = area.outline if area else ()
    return {
        gettext("Program area"): area_in_words(area) if area else "",
        gettext("Parts"): str(len(outline)) if area else "",
        gettext("Corners"): str(sum(_corners(one) for one in outline)) if area else "",
        gettext("From the file"): area.file_name if area else "",
    }


def area_in_words(area: ProgramArea) -> str:
    """Its size in the units of the program."""
    unit = DistanceUnit(area.program.distance_unit)
    size = number(f"{size_m2(area.outline) / _SQUARE_M[unit]:.1f}")
    return (
        said("{size} square miles", size=size)
        if unit is DistanceUnit.MILES
        else said("{size} km²", size=size)
    )


def outline_text(area: ProgramArea | None) -> str:
    """Latitude and longitude of each corner, one a line, of an area that is a single outline
    without holes; empty for any other."""
    if area is None or len(area.outline) != 1 or len(area.outline[0]) != 1:
        return ""
    corners = area.outline[0][0].coords[:-1]
    return "\n".join(
        f"{latitude:.{DEGREE_PLACES}f}, {longitude:.{DEGREE_PLACES}f}"
        for longitude, latitude in corners
    )


def draw_area(member: Membership, *, points: str, seen: Seen | None = None) -> ProgramArea | None:
    """The area within an outline that was drawn or typed; an empty text takes the area away.

    Raises ValidationError by field, EditConflict.
    """
    corners = read_line(points)
    if not corners:
        return _save(member, (), file_name="", seen=seen)
    if len(set(corners)) < 3:
        raise _refused(gettext("An area has three corners or more. Add some, or start over."))
    return _save(member, [[corners]], file_name="", seen=seen)


def take_area_from_file(
    member: Membership, outlines: Outlines, *, file_name: str
) -> ProgramArea | None:
    """The areas of a file, all together. Raises ValidationError."""
    if not outlines:
        raise _refused(gettext("The file contains no area. Export the outline as a polygon."))
    return _save(member, outlines, file_name=file_name, seen=None)


@transaction.atomic
def _save(
    member: Membership, outlines: Outlines, *, file_name: str, seen: Seen | None
) -> ProgramArea | None:
    require(member, Permission.MANAGE)
    Program.objects.select_for_update(of=("self",)).get(pk=member.program_id)
    area = area_of(member.program)
    history = ProgramArea.pgh_event_model.objects.filter(program=member.program)
    check_seen(member, seen, area_facts(area), [history])
    if not outlines:
        if area is not None:
            area.delete()
        return None
    area = area or ProgramArea(program=member.program)
    area.outline = _checked(outlines)
    area.file_name, area.saved_by = file_name[:200], member.person
    area.save()
    return area


def _checked(outlines: Outlines) -> MultiPolygon:
    """Raises ValidationError where it crosses itself or has too many corners."""
    corners = sum(len(ring) for rings in outlines for ring in rings)
    if corners > MOST_CORNERS:
        raise _refused(
            said(
                "The area has {corners} corners; the limit is {most}. Simplify it.",
                corners=corners,
                most=MOST_CORNERS,
            )
        )
    try:
        polygons = [Polygon(*map(_ring, rings), srid=4326) for rings in outlines if rings]
    except ValueError as error:
        raise _refused(gettext("An area has three corners or more.")) from error
    fault = fault_of(polygons)
    if fault is not None:
        raise _refused(_fault_in_words(*fault))
    area = joined(polygons)
    if area.empty:
        raise _refused(gettext("The area is empty: all its corners are on one line."))
    return area


def _ring(corners: Sequence[Place]) -> LinearRing:
    points = [(corner.longitude, corner.latitude) for corner in corners]
    if points[0] != points[-1]:
        points.append(points[0])
    return LinearRing(points)


def _fault_in_words(reason: str, there: Place | None) -> str:
    if there is None:
        return gettext("The outline is not a valid area. Draw it again, or correct the file.")
    place = f"{there.latitude:.{DEGREE_PLACES}f}, {there.longitude:.{DEGREE_PLACES}f}"
    if reason == _CROSSING:
        return said(
            "The outline crosses itself near {place}. Move the corners apart there.", place=place
        )
    return said("The outline is not valid near {place}. Correct it there.", place=place)


def _refused(message: str) -> ValidationError:
    return ValidationError({FIELD: message})


def _corners(polygon: Polygon) -> int:
    return sum(len(ring) - 1 for ring in polygon)


# --- Routes outside -------------------------------------------------------------------


def routes_outside(
    program: Program, stops: Sequence[Point], lines: Mapping[int, Sequence[Place]]
) -> dict[int, RouteOutside]:
    """By route, as the points and `lines` name it; none where the program has no area."""
    far: dict[int, list[float]] = {}
    for position, meters in places_outside(program.pk, stops):
        far.setdefault(stops[position].route, []).append(meters)
    beyond = dict(lines_outside(program.pk, lines))
    return {
        key: RouteOutside(
            key=key,
            stops=sum(point.route == key for point in stops),
            outside=len(far.get(key, ())),
            farthest_m=max(far.get(key, ()), default=0.0),
            line_m=beyond.get(key, 0.0),
        )
        for key in sorted(far.keys() | beyond.keys())
    }


def outside_in_words(code: str, route: RouteOutside, unit: DistanceUnit) -> str:
    """What of a route lies outside, in one sentence."""
    if not route.outside:
        return said(
            "{distance} of the line of route {code} lie outside the program area.",
            distance=distance(route.line_m, unit),
            code=code,
        )
    return said(
        "Route {code}: {outside} of {stops} stops lie outside the program area, up to {distance}.",
        code=code,
        outside=route.outside,
        stops=route.stops,
        distance=distance(route.farthest_m, unit),
    )


def present_routes_outside(program: Program) -> dict[int, RouteOutside]:
    """Of the routes as they stand today, by primary key."""
    present = Stop.objects.filter(route__program=program, route__active=True, active_until=None)
    points = [
        Point(route=stop.route_id, number=stop.number, place=place_of(stop.place))
        for stop in present.order_by("route", "number")
    ]
    lines = {
        route.pk: places_of(route.line)
        for route in program.routes.filter(active=True, line__isnull=False)
    }
    return routes_outside(program, points, lines)
