"""The line of a route: the road between its stops, as it is drawn on maps.

A line is typed as text, one point a line, or pasted as GeoJSON (RFC 7946). The map on the screen
only writes that text.
"""

import json
import re
from collections.abc import Iterator, Sequence
from typing import Any

from django.contrib.gis.geos import LineString
from django.core.exceptions import ValidationError
from django.db import transaction

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
from surveys.language import gettext, said
from surveys.models import (
    Program,
    Route,
)
from surveys.programs.places import (
    FARTHEST_ON_A_ROUTE_M,
    likely_slip,
    place_of,
    read_coordinate,
)
from surveys.programs.routes import route_of
from surveys.programs.stops import DEGREE_PLACES
from surveys.protocol.distance import distance_m
from surveys.protocol.values import Place

FIELD = "points"
MOST_POINTS = 5_000
_BETWEEN = re.compile(r"\s*[;\t]\s*|,\s+|\s+")
_LONGEST_SHOWN = 40


def line_text(route: Route) -> str:
    """Latitude and longitude of each point, one point a line; empty without a line."""
    if route.line is None:
        return ""
    return "\n".join(
        f"{latitude:.{DEGREE_PLACES}f}, {longitude:.{DEGREE_PLACES}f}"
        for longitude, latitude in route.line.coords
    )


def line_facts(route: Route) -> Facts:
    """What the form of a line shows."""
    return {gettext("Points of the line"): line_text(route)}


def read_line(text: str) -> tuple[Place, ...]:
    """The points of a text, in order; none for an empty one. Raises ValidationError."""
    if text.lstrip().startswith("{"):
        points = _from_geojson(text)
    else:
        rows = ((number, row.strip()) for number, row in enumerate(text.splitlines(), start=1))
        points = tuple(_point(number, row) for number, row in rows if row)
    if len(points) == 1:
        raise _refused(
            gettext("A line has two points or more. Add where it goes, or leave it empty.")
        )
    if len(points) > MOST_POINTS:
        raise _refused(
            said(
                "The line has {points} points; the limit is {most_points}. Simplify it.",
                points=len(points),
                most_points=MOST_POINTS,
            )
        )
    if points and len(set(points)) == 1:
        raise _refused(gettext("All points of the line are the same place."))
    return points


def _refused(message: str) -> ValidationError:
    return ValidationError({FIELD: message})


def _point(number: int, row: str) -> Place:
    parts = _BETWEEN.split(row)
    if len(parts) == 1:
        parts = row.split(",")
    if len(parts) != 2:
        quote = row if len(row) <= _LONGEST_SHOWN else f"{row[:_LONGEST_SHOWN]}…"
        raise _refused(
            said(
                "Line {number}: “{quote}” is not a latitude and a longitude. Write one point "
                "per line, such as 43.07310, -89.40120.",
                number=number,
                quote=quote,
            )
        )
    try:
        latitude, longitude = (
            read_coordinate(part, name)
            for part, name in zip(parts, ("latitude", "longitude"), strict=True)
        )
    except ValidationError as refusal:
        raise _refused(
            said("Line {number}: {refusal}", number=number, refusal=refusal.messages[0])
        ) from refusal
    return Place(latitude=latitude, longitude=longitude)


def _from_geojson(text: str) -> tuple[Place, ...]:
    try:
        lines = list(_lines(json.loads(text)))
    except (ValueError, RecursionError) as error:
        raise _refused(
            gettext("This looks like GeoJSON, but part of it is missing. Paste all of it.")
        ) from error
    if len(lines) != 1:
        count = gettext("no line") if not lines else said("{lines} lines", lines=len(lines))
        raise _refused(
            said("The GeoJSON holds {count}. Paste one with a single LineString.", count=count)
        )
    return tuple(_position(number, position) for number, position in enumerate(lines[0], start=1))


def _lines(geojson: Any) -> Iterator[list[Any]]:
    """Coordinates of every line of a geometry, a feature or a collection of features."""
    if not isinstance(geojson, dict):
        return
    coordinates = geojson.get("coordinates")
    match geojson.get("type"):
        case "LineString" if isinstance(coordinates, list):
            yield coordinates
        case "MultiLineString" if isinstance(coordinates, list):
            yield from (line for line in coordinates if isinstance(line, list))
        case "Feature":
            yield from _lines(geojson.get("geometry"))
        case "FeatureCollection" if isinstance(geojson.get("features"), list):
            for feature in geojson["features"]:
                if isinstance(feature, dict) and feature.get("type") == "Feature":
                    yield from _lines(feature)


def _position(number: int, position: Any) -> Place:
    """A position is longitude, latitude, and perhaps a height (RFC 7946, 3.1.1)."""
    good = isinstance(position, list) and len(position) >= 2
    if not good or not all(
        isinstance(value, int | float) and not isinstance(value, bool) for value in position[:2]
    ):
        raise _refused(
            said("Point {number} of the GeoJSON is not a longitude and a latitude.", number=number)
        )
    longitude, latitude = position[:2]
    if not (abs(latitude) <= 90 and abs(longitude) <= 180):
        raise _refused(
            said(
                "Point {number} of the GeoJSON is outside the globe. GeoJSON gives the "
                "longitude first, then the latitude, in degrees.",
                number=number,
            )
        )
    return Place(latitude=float(latitude), longitude=float(longitude))


def _check_near(points: Sequence[Place], stops: Sequence[Place]) -> None:
    """A line lies where its stops are."""
    for number, point in enumerate(points, start=1):
        if not stops or min(distance_m(point, stop) for stop in stops) <= FARTHEST_ON_A_ROUTE_M:
            continue
        question = likely_slip(point, stops) or gettext("Check its numbers.")
        raise _refused(
            said(
                "Point {number} is far from the stops of the route. {question}",
                number=number,
                question=question,
            )
        )


@transaction.atomic
def change_line(
    member: Membership, route_id: int, *, points: str, seen: Seen | None = None
) -> Route:
    """Draw the line of a route anew; an empty text takes it away.

    Raises ValidationError by field, EditConflict.
    """
    require(member, Permission.MANAGE)
    Program.objects.select_for_update().get(pk=member.program_id)
    route = route_of(member.program, route_id)
    check_seen(member, seen, line_facts(route), [route.events.all()])
    if points.strip() == line_text(route):
        return route
    places = read_line(points)
    _check_near(places, [place_of(stop.place) for stop in route.stops.filter(active_until=None)])
    route.line = (
        LineString([(place.longitude, place.latitude) for place in places], srid=4326)
        if places
        else None
    )
    route.save(update_fields=["line"])
    return route
