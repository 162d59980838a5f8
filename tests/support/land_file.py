"""Writes surveys/land/land.pmtiles, the map that ships: countries, states, counties and names.

`deploy/generate land` runs it, in PostGIS; needed only after a change of this module or of the
packages. They are in package-lock.json: world-atlas (Natural Earth, 1:10 million) and
us-atlas (US Census Bureau, cartographic boundaries of 2017), both made from public-domain data.
"""

import gzip
import hashlib
import json
import math
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import psycopg
from django.contrib.gis.geos import GeometryCollection, GEOSGeometry, MultiPolygon, Point, Polygon
from pmtiles.reader import MmapSource, Reader
from pmtiles.tile import Compression, TileType, zxy_to_tileid
from pmtiles.writer import Writer
from pyogrio.raw import read

PROJECT = Path(__file__).parents[2]
TARGET = PROJECT / "surveys" / "land" / "land.pmtiles"
WORLD = PROJECT / "node_modules" / "world-atlas" / "countries-10m.json"
STATES = PROJECT / "node_modules" / "us-atlas" / "counties-10m.json"
ATTRIBUTION = "Natural Earth, U.S. Census Bureau"
UNITED_STATES = "840"  # ISO 3166-1; its own atlas draws it
_US_NAME = "United States of America"
# A tile of level 6 has 4096 units of 150 m at the equator; the sources round to 400 m.
LAST_LEVEL = 6
FIRST_LEVELS = {"countries": 0, "states": 2, "counties": 6, "names": 1}
EXTENT = 4096
_WORLD_M = 2 * math.pi * 6_378_137
# Web Mercator ends here.
_DRAWN = "ST_MakeEnvelope(-180, -85.05, 180, 85.05, 4326)"
_PIECES = """
    CREATE TEMP TABLE piece AS
    SELECT x, y, layer, NULLIF(kind, '') AS kind, name, within,
        ST_AsMVTGeom((ST_Dump(ST_Intersection(shape, wide))).geom, frame, %(extent)s, 64) AS shape
    FROM generate_series(0, %(last)s) AS x, generate_series(0, %(last)s) AS y,
        ST_TileEnvelope(%(level)s, x, y) AS frame,
        ST_Expand(frame, (ST_XMax(frame) - ST_XMin(frame)) / 32) AS wide
        JOIN simple ON shape && wide
"""
_TILES = """
    SELECT x, y, string_agg(content, ''::bytea ORDER BY layer) FROM (
        SELECT x, y, layer, (
            SELECT ST_AsMVT(row, one.layer, %(extent)s, 'shape') FROM (
                SELECT kind, name, within, shape FROM piece
                WHERE (x, y, layer) = (one.x, one.y, one.layer) AND shape IS NOT NULL
                ORDER BY name, within
            ) AS row
        ) AS content
        FROM (SELECT DISTINCT x, y, layer FROM piece WHERE shape IS NOT NULL) AS one
    ) AS part GROUP BY x, y
"""


@dataclass(frozen=True, kw_only=True)
class Area:
    """A country, state or county; `within` names what it lies in. `shape` is WKB."""

    name: str
    within: str
    shape: bytes


def stamp() -> str:
    """Changes with the packages and with this module."""
    lock = json.loads((PROJECT / "package-lock.json").read_text("utf-8"))["packages"]
    parts = [lock[f"node_modules/{name}"]["integrity"] for name in ("world-atlas", "us-atlas")]
    module = hashlib.sha256(Path(__file__).read_bytes()).hexdigest()
    return hashlib.sha256("".join([*parts, module]).encode()).hexdigest()


def areas() -> dict[str, list[Area]]:
    """Every area of the sources, by layer."""
    world = [
        Area(name=name, within="", shape=shape)
        for code, name, shape in _read(WORLD, "countries")
        if code != UNITED_STATES
    ]
    nation = [Area(name=_US_NAME, within="", shape=row[-1]) for row in _read(STATES, "nation")]
    states = {code: (name, shape) for code, name, shape in _read(STATES, "states")}
    return {
        "countries": world + nation,
        "states": [Area(name=n, within=_US_NAME, shape=shape) for n, shape in states.values()],
        "counties": [
            Area(name=name, within=states[code[:2]][0], shape=shape)
            for code, name, shape in _read(STATES, "counties")
        ],
    }


def write_file(target: Path = TARGET) -> None:
    with psycopg.connect(_database(), autocommit=True) as connection:
        _load(connection, areas())
        tiles = {
            (level, x, y): content
            for level in range(LAST_LEVEL + 1)
            for x, y, content in _tiles(connection, level)
        }
    _write_archive(target, tiles)


def _database() -> str:
    return os.environ["DATABASE_URL"].replace("postgis://", "postgresql://")


def _load(connection: psycopg.Connection, found: dict[str, list[Area]]) -> None:
    """Everything in one table of this session, in Web Mercator."""
    connection.execute(
        "CREATE TEMP TABLE land (layer text, kind text, name text, within text, shape geometry)"
    )
    insert = f"""
        INSERT INTO land SELECT %s, %s, %s, %s, ST_Transform(ST_Intersection(
            ST_SetSRID(ST_GeomFromWKB(%s), 4326), {_DRAWN}), 3857)
    """
    with connection.cursor() as cursor:
        for layer, rows in found.items():
            for row in rows:
                shape = mended(row.shape)
                cursor.execute(insert, (layer, "", row.name, row.within, shape))
                if place := _place_of_name(shape):
                    cursor.execute(insert, ("names", layer, row.name, row.within, place))
    connection.execute("DELETE FROM land WHERE ST_IsEmpty(shape)")


def _tiles(connection: psycopg.Connection, level: int) -> Iterator[tuple[int, int, bytes]]:
    """x, y and content of the tiles of a level. One vector tile behind another is a tile with the
    layers of both, because a message of Protocol Buffers may be continued."""
    finest = _WORLD_M / 2**level / EXTENT
    layers = [layer for layer, first in FIRST_LEVELS.items() if first <= level]
    connection.execute(
        """
        CREATE TEMP TABLE simple AS SELECT layer, kind, name, within,
            (ST_Dump(ST_MakeValid(ST_SimplifyPreserveTopology(shape, %s)))).geom AS shape
        FROM land WHERE layer = ANY(%s)
        """,
        (finest, layers),
    )
    connection.execute("CREATE INDEX ON simple USING gist (shape)")
    numbers = {"level": level, "last": 2**level - 1, "extent": EXTENT}
    connection.execute(_PIECES, numbers)
    connection.execute("CREATE INDEX ON piece (x, y, layer)")
    yield from connection.execute(_TILES, numbers).fetchall()
    connection.execute("DROP TABLE simple, piece")


def _read(path: Path, layer: str) -> Iterator[tuple]:
    meta, _, shapes, columns = read(path, layer=layer)
    fields = dict(zip(meta["fields"], columns, strict=True))
    nobody = [""] * len(shapes)
    return zip(fields.get("id", nobody), fields.get("name", nobody), shapes, strict=True)


def mended(shape: bytes) -> bytes:
    """Its polygons. The sources round coordinates, which makes rings cross themselves."""
    valid = GEOSGeometry(memoryview(shape)).make_valid()
    parts = valid if isinstance(valid, GeometryCollection) else [valid]
    flat = [
        part
        for one in parts
        for part in (one if isinstance(one, MultiPolygon) else [one])
        if isinstance(part, Polygon)
    ]
    return bytes(MultiPolygon(flat).wkb)


def _place_of_name(shape: bytes) -> bytes | None:
    """A point well inside the largest part; None for an area that the sources drew as nothing."""
    parts = list(GEOSGeometry(memoryview(shape)))
    if not parts:
        return None
    largest = max(parts, key=lambda part: part.area)
    middle: Point = largest.centroid
    place = middle if largest.contains(middle) else largest.point_on_surface
    return None if place.empty else bytes(place.wkb)


def _write_archive(target: Path, tiles: dict[tuple[int, int, int], bytes]) -> None:
    fields = {"name": "String"}
    with target.open("wb") as file:
        archive = Writer(file)
        for place in sorted(tiles, key=lambda place: zxy_to_tileid(*place)):
            archive.write_tile(zxy_to_tileid(*place), gzip.compress(tiles[place], 9, mtime=0))
        archive.finalize(
            {
                "tile_type": TileType.MVT,
                "tile_compression": Compression.GZIP,
                "min_zoom": 0,
                "max_zoom": LAST_LEVEL,
                "min_lon_e7": -1_800_000_000,
                "min_lat_e7": -850_000_000,
                "max_lon_e7": 1_800_000_000,
                "max_lat_e7": 850_000_000,
                "center_zoom": 0,
                "center_lon_e7": 0,
                "center_lat_e7": 0,
            },
            {
                "name": "Coast, countries, states and counties",
                "attribution": ATTRIBUTION,
                "made_from": stamp(),
                "vector_layers": [
                    {"id": layer, "minzoom": first, "maxzoom": LAST_LEVEL, "fields": fields}
                    for layer, first in FIRST_LEVELS.items()
                ],
            },
        )


def metadata(path: Path = TARGET) -> dict:
    with path.open("rb") as file:
        return Reader(MmapSource(file)).metadata()


if __name__ == "__main__":
    write_file()
