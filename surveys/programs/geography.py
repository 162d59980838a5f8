"""How places lie to each other and to lines, by PostGIS on the WGS 84 ellipsoid.

Points come in as values, so that places can be checked before they are rows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.db import connection

from surveys.protocol.values import Place

_POINTS = """
    point AS (
        SELECT id, route, number, latitude,
               ST_SetSRID(ST_MakePoint(longitude, latitude), 4326)::geography AS at
        FROM unnest(%(ids)s::int[], %(routes)s::int[], %(numbers)s::int[],
                    %(latitudes)s::float8[], %(longitudes)s::float8[])
             AS given(id, route, number, latitude, longitude)
    )
"""
# `closes`: from the first to the last, which lie near each other on a route that is a loop.
_NEIGHBORS = f"""
    WITH {_POINTS}, placed AS (
        SELECT *, row_number() OVER (PARTITION BY route ORDER BY number, id) AS turn,
               count(*) OVER (PARTITION BY route) AS turns
        FROM point
    ), pair AS (
        SELECT one.id, other.id AS other, other.turn - one.turn AS ahead,
               one.turn = 1 AND other.turn = other.turns AS closes,
               ST_Distance(one.at, other.at) AS meters
        FROM placed AS one JOIN placed AS other ON other.route = one.route AND other.id <> one.id
    )
    SELECT id,
           min(meters),
           min(meters) FILTER (WHERE ahead = -1),
           min(meters) FILTER (WHERE ahead = 1),
           min(meters) FILTER (WHERE ahead > 1 AND NOT closes),
           (array_agg(other ORDER BY meters) FILTER (WHERE ahead > 1 AND NOT closes))[1]
    FROM pair GROUP BY id ORDER BY id
"""
# Only places in the same or the next thousandth of a degree can be near enough.
_SAME_PLACE = f"""
    WITH {_POINTS}, banded AS (SELECT *, floor(latitude * 1000)::int AS band FROM point)
    SELECT one.id, other.id
    FROM banded AS one
    CROSS JOIN generate_series(-1, 1) AS step
    JOIN banded AS other ON other.band = one.band + step AND other.id > one.id
    WHERE ST_DWithin(one.at, other.at, %(within)s)
    ORDER BY one.id, other.id
"""
_ALONG = f"""
    WITH {_POINTS}, road AS (
        SELECT route, ST_GeomFromText(line, 4326) AS line
        FROM unnest(%(line_routes)s::int[], %(lines)s::text[]) AS given(route, line)
    )
    SELECT point.id, ST_Distance(point.at, road.line::geography),
           ST_LineLocatePoint(road.line, point.at::geometry)
    FROM point JOIN road USING (route) ORDER BY point.route, point.number, point.id
"""
# Each part of the line is walked along its geodesic.
_EVERY = """
    WITH point AS (
        SELECT path[1] AS part, geom::geography AS at
        FROM ST_DumpPoints(ST_GeomFromText(%(line)s, 4326))
    ), part AS (
        SELECT part, at, lead(at) OVER (ORDER BY part) AS next FROM point
    ), measured AS (
        SELECT part, at, ST_Distance(at, next) AS meters, ST_Azimuth(at, next) AS azimuth
        FROM part WHERE next IS NOT NULL AND ST_Distance(at, next) > 0
    ), walked AS (
        SELECT *, sum(meters) OVER (ORDER BY part) AS until FROM measured
    )
    SELECT step * %(every)s::float8, ST_Y(place), ST_X(place)
    FROM walked
    CROSS JOIN LATERAL generate_series(
        ceil((until - meters) / %(every)s::float8)::int, ceil(until / %(every)s::float8)::int - 1
    ) AS step
    CROSS JOIN LATERAL (
        SELECT ST_Project(at, step * %(every)s::float8 - (until - meters), azimuth)::geometry
               AS place
    ) AS projected
    ORDER BY step
"""
# The area around some places: the smallest one without dents.
_OUTSIDE = f"""
    WITH {_POINTS}, area AS (
        SELECT ST_ConvexHull(ST_Collect(ST_SetSRID(ST_MakePoint(longitude, latitude), 4326)))
               ::geography AS area
        FROM unnest(%(around_longitudes)s::float8[], %(around_latitudes)s::float8[])
             AS given(longitude, latitude)
    )
    SELECT id, ST_Distance(at, area) FROM point, area
    WHERE NOT ST_DWithin(at, area, %(beyond)s) ORDER BY id
"""
_LENGTH = "SELECT ST_Length(ST_GeomFromText(%(line)s, 4326)::geography)"
MOST_WITHIN_M = 100.0


@dataclass(frozen=True, kw_only=True)
class Point:
    """A stop `number` of a route; routes are told apart by any number."""

    route: int
    number: int
    place: Place


@dataclass(frozen=True, kw_only=True)
class Neighbors:
    """Meters from a point of a route, given by its position among the points, to the other points
    of the route. `later` is the position of the one that `to_later` leads to: the nearest behind
    the next."""

    position: int
    nearest: float
    from_last: float | None
    to_next: float | None
    to_later: float | None
    later: int | None


def neighbors(points: Sequence[Point]) -> list[Neighbors]:
    """Of each point whose route has another, in the order given."""
    names = ("position", "nearest", "from_last", "to_next", "to_later", "later")
    return [Neighbors(**dict(zip(names, row, strict=True))) for row in _rows(_NEIGHBORS, points)]


def same_place(points: Sequence[Point], within: float) -> list[tuple[int, int]]:
    """Positions of points that are no more than so many meters apart, each pair once."""
    if within > MOST_WITHIN_M:
        raise ValueError(f"Looks no further than {MOST_WITHIN_M} m.")
    return [(one, other) for one, other in _rows(_SAME_PLACE, points, within=within)]


def along_lines(
    points: Sequence[Point], lines: Mapping[int, Sequence[Place]]
) -> list[tuple[int, float, float]]:
    """Position, meters from the line of its route, and where along the line (0 to 1), of each
    point whose route has one, by number."""
    texts = [line_text(line) for line in lines.values()]
    return _rows(_ALONG, points, line_routes=list(lines), lines=texts)


def outside(
    points: Sequence[Point], around: Sequence[Place], beyond: float
) -> list[tuple[int, float]]:
    """Positions of points that lie more than so many meters outside the area around some places,
    with their meters from it; none where there are no places."""
    if not around:
        return []
    return _rows(
        _OUTSIDE,
        points,
        beyond=beyond,
        around_latitudes=[float(place.latitude) for place in around],
        around_longitudes=[float(place.longitude) for place in around],
    )


def length_m(line: Sequence[Place]) -> float:
    with connection.cursor() as cursor:
        cursor.execute(_LENGTH, {"line": line_text(line)})
        return cursor.fetchone()[0]


def every(line: Sequence[Place], meters: float) -> list[tuple[float, Place]]:
    """The places at the start of a line and every so many meters along it, each with its meters
    from the start."""
    with connection.cursor() as cursor:
        cursor.execute(_EVERY, {"line": line_text(line), "every": meters})
        rows = cursor.fetchall()
    return [(along, Place(latitude=lat, longitude=lon)) for along, lat, lon in rows]


def line_text(line: Sequence[Place]) -> str:
    """Well-known text of a line."""
    return f"LINESTRING({', '.join(f'{p.longitude!r} {p.latitude!r}' for p in line)})"


def point_rows(points: Sequence[Point]) -> dict[str, list[float]]:
    """Parameters of a query about points, which are told apart by their position."""
    return {
        "ids": list(range(len(points))),
        "latitudes": [float(point.place.latitude) for point in points],
        "longitudes": [float(point.place.longitude) for point in points],
    }


def _rows(sql: str, points: Sequence[Point], **more: object) -> list[tuple]:
    parameters = {
        **point_rows(points),
        "routes": [point.route for point in points],
        "numbers": [point.number for point in points],
        **more,
    }
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return cursor.fetchall()
