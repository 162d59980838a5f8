"""How places and lines lie to the area of a program, by PostGIS on the WGS 84 ellipsoid.

Inside is what lies inside in longitude and latitude, where the sides of an area are straight. For
meters its sides are cut into parts so short that the geodesic between their ends is the same line,
to less than a meter.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.contrib.gis.geos import GEOSGeometry, MultiPolygon
from django.db import connection

from surveys.programs.geography import Point, line_text, point_rows
from surveys.protocol.values import Place

_PART_DEGREES = 0.05
_AREA = """
    area AS (
        SELECT outline, ST_Segmentize(outline, %(part)s)::geography AS on_globe
        FROM surveys_programarea WHERE program_id = %(program)s
    )
"""
_PLACES_OUTSIDE = f"""
    WITH point AS (
        SELECT id, ST_SetSRID(ST_MakePoint(longitude, latitude), 4326) AS at
        FROM unnest(%(ids)s::int[], %(latitudes)s::float8[], %(longitudes)s::float8[])
             AS given(id, latitude, longitude)
    ), {_AREA}
    SELECT id, ST_Distance(at::geography, on_globe) FROM point, area
    WHERE NOT ST_Covers(outline, at) ORDER BY id
"""
_LINES_OUTSIDE = f"""
    WITH road AS (
        SELECT id, ST_GeomFromText(line, 4326) AS line
        FROM unnest(%(routes)s::int[], %(lines)s::text[]) AS given(id, line)
    ), {_AREA}, beyond AS (
        SELECT id, ST_Length(ST_Difference(line, outline)::geography) AS meters FROM road, area
    )
    SELECT id, meters FROM beyond WHERE meters > 0 ORDER BY id
"""
_SIZE = "SELECT ST_Area(ST_Segmentize(%(outline)s::geometry, %(part)s)::geography)"
_JOINED = """
    SELECT ST_AsBinary(ST_Multi(ST_CollectionExtract(ST_UnaryUnion(ST_Collect(one::geometry)), 3)))
    FROM unnest(%(outlines)s::text[]) AS given(one)
"""
_FAULT = """
    SELECT reason(told), ST_Y(location(told)), ST_X(location(told))
    FROM unnest(%(outlines)s::text[]) AS given(one)
    CROSS JOIN LATERAL ST_IsValidDetail(one::geometry) AS told
    WHERE NOT valid(told) LIMIT 1
"""


def places_outside(program_id: int, points: Sequence[Point]) -> list[tuple[int, float]]:
    """Positions of points outside the program's area, with their meters from it; none without an
    area."""
    rows = point_rows(points)
    return _rows(_PLACES_OUTSIDE, program_id, **rows)


def lines_outside(program_id: int, lines: Mapping[int, Sequence[Place]]) -> list[tuple[int, float]]:
    """Keys of lines that leave the program's area, with how many meters lie outside."""
    texts = [line_text(line) for line in lines.values()]
    return _rows(_LINES_OUTSIDE, program_id, routes=list(lines), lines=texts)


def size_m2(outline: MultiPolygon) -> float:
    """Square meters of an area."""
    with connection.cursor() as cursor:
        cursor.execute(_SIZE, {"outline": outline.hexewkb.decode(), "part": _PART_DEGREES})
        return cursor.fetchone()[0]


def fault_of(outlines: Sequence[MultiPolygon]) -> tuple[str, Place | None] | None:
    """Why the first of some polygons cannot be an area, and where; None where all can."""
    with connection.cursor() as cursor:
        cursor.execute(_FAULT, {"outlines": [one.hexewkb.decode() for one in outlines]})
        row = cursor.fetchone()
    if row is None:
        return None
    reason, latitude, longitude = row
    there = None if latitude is None else Place(latitude=latitude, longitude=longitude)
    return reason, there


def joined(outlines: Sequence[GEOSGeometry]) -> MultiPolygon:
    """Valid polygons as one area; parts that touch become one."""
    with connection.cursor() as cursor:
        cursor.execute(_JOINED, {"outlines": [one.hexewkb.decode() for one in outlines]})
        return GEOSGeometry(memoryview(cursor.fetchone()[0]), srid=4326)


def _rows(sql: str, program_id: int, **more: object) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(sql, {"program": program_id, "part": _PART_DEGREES, **more})
        return cursor.fetchall()
