"""The part of the map around some places, small enough to be taken along by a phone.

Coordinates are meters of Web Mercator (EPSG:3857), in which vector tiles are drawn, whole numbers
from the lower left corner of the part. A meter of the map is cos(latitude) meters on the ground.
"""

import gzip
import json
import logging
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import pyogrio
from django.contrib.gis.geos import (
    GeometryCollection,
    GEOSException,
    GEOSGeometry,
    LineString,
    Polygon,
)
from pmtiles.tile import Compression
from pyogrio.raw import read

from surveys.land.files import MapFile, land_file, opened_archive, own_file
from surveys.protocol.values import Place

# As JSON. What does not fit is left out, small roads first.
MOST_BYTES = 200_000
_RADIUS_M = 6_378_137.0
_WORLD_M = 2 * math.pi * _RADIUS_M
# Around the places, as a share of their longer side and at least so many meters.
_MARGIN_SHARE, _LEAST_MARGIN_M = 0.3, 6_000
# Names of areas that reach into the part with less than this share of it would stand at its edge.
_LEAST_SHARE_FOR_A_NAME = 0.08
# The part is drawn some hundred pixels wide: what is finer than this share of it is not seen.
_FINEST_SHARE = 1 / 1500
# A part is read from at most about this many tiles a side.
_MOST_TILES = 4
_ROADS = ("roads", "transportation")
_WATER = ("water", "waterway")
_SMALL_ROADS = ("path", "other", "track", "service", "minor_road", "minor", "street")
_UNREADABLE = (
    pyogrio.errors.DataSourceError,
    pyogrio.errors.DataLayerError,
    pyogrio.errors.FeatureError,
    GEOSException,
    OSError,
    ValueError,
)
_log = logging.getLogger(__name__)

Box = tuple[float, float, float, float]


def part_around(places: Sequence[Place]) -> dict[str, Any] | None:
    """Land and water as rings, borders and roads as lines, names with their places, and to whom
    credit is due. None without places.

    `lines` are pairs of a kind (countries, states, counties, water, roads) and its points.
    """
    if not places:
        return None
    box = _box_around(places)
    land, own = land_file(), own_file()
    part: dict[str, Any] = {
        "origin": [round(box[0]), round(box[1])],
        "size": [round(box[2] - box[0]), round(box[3] - box[1])],
        "land": [],
        "water": [],
        "lines": [],
        "names": [],
        "credits": [land.attribution],
    }
    _Filling(part, box).add(_areas(land, box))
    if own:
        try:
            _Filling(part, box).add(_roads_and_water(own, box))
        except _UNREADABLE:
            _log.warning("the map file of the site cannot be read around a route", exc_info=True)
        else:
            part["credits"] += [own.attribution] if own.attribution else []
    return part


def mercator(place: Place) -> tuple[float, float]:
    """Web Mercator, meters: EPSG Guidance Note 7-2, method 1024."""
    x = math.radians(place.longitude) * _RADIUS_M
    y = math.log(math.tan(math.pi / 4 + math.radians(place.latitude) / 2)) * _RADIUS_M
    return x, y


def _box_around(places: Sequence[Place]) -> Box:
    """A square, so that a straight route has something above and below it."""
    xs, ys = zip(*map(mercator, places), strict=True)
    longer = max(max(xs) - min(xs), max(ys) - min(ys))
    half = longer / 2 + max(longer * _MARGIN_SHARE, _LEAST_MARGIN_M)
    x, y = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2
    return x - half, y - half, x + half, y + half


class _Filling:
    """Adds shapes to a part as long as there is room."""

    def __init__(self, part: dict[str, Any], box: Box):
        self.part, self.box = part, box
        self.room = MOST_BYTES - len(_json(part))
        self.finest = max(box[2] - box[0], box[3] - box[1]) * _FINEST_SHARE

    def add(self, found: Iterable[tuple[str, Any]]) -> None:
        """`found` are pairs of what it is and its shape or, for a name, text and place."""
        for kind, shape in found:
            if kind == "names":
                text, place = shape
                self._put("names", [text, *self._point(place.coords)])
            elif kind in ("land", "water") and shape.dims == 2:
                for polygon in _parts_of(shape, Polygon):
                    for ring in polygon:
                        self._put(kind, self._points(ring))
            else:
                for line in _parts_of(shape, LineString):
                    self._put("lines", [kind, self._points(line)])

    def _put(self, key: str, value: list) -> None:
        self.room -= len(_json(value)) + 1
        if self.room >= 0:
            self.part[key].append(value)

    def _points(self, line: GEOSGeometry) -> list[list[int]]:
        return [self._point(point) for point in line.simplify(self.finest).coords]

    def _point(self, place: tuple[float, ...]) -> list[int]:
        return [round(place[0] - self.box[0]), round(place[1] - self.box[1])]


def _areas(file: MapFile, box: Box) -> Iterator[tuple[str, Any]]:
    """Land, borders, and the names of counties, or of the larger areas where there are none."""
    frame, inside = Polygon.from_bbox(box), _shrunk(box)
    named: list[tuple[str, GEOSGeometry]] = []
    for layer in ("countries", "states", "counties"):
        found = list(_whole_areas(file, layer, frame, box))
        named = found or named
        for _, shape in found:
            if layer == "countries":
                yield "land", shape
            yield layer, shape.boundary.intersection(inside)
    for name, shape in named:
        if shape.area >= frame.area * _LEAST_SHARE_FOR_A_NAME:
            yield "names", (name, _place_of_name(shape, box))


def _place_of_name(shape: GEOSGeometry, box: Box) -> GEOSGeometry:
    """In the upper or lower eighth of the part, if the area reaches there: stops stand between."""
    eighth = (box[3] - box[1]) / 8
    for south, north in ((box[3] - eighth, box[3]), (box[1], box[1] + eighth)):
        there = shape.intersection(Polygon.from_bbox((box[0], south, box[2], north)))
        if there.area > eighth**2:
            return there.point_on_surface
    return shape.point_on_surface


def _whole_areas(
    file: MapFile, layer: str, frame: Polygon, box: Box
) -> Iterator[tuple[str, GEOSGeometry]]:
    """Areas of a layer with their names, cut to the frame. Tiles hold pieces, which are put
    together. Neighbors in two states may have one name."""
    pieces = defaultdict(list)
    for shape, fields in _features(file, layer, box):
        pieces[fields["name"], fields["within"]].append(shape.buffer(0))
    for (name, _), shapes in sorted(pieces.items()):
        # Numbers are rounded, so that two tiles may not quite meet: a meter over leaves no seam.
        whole = GeometryCollection([shape.buffer(1) for shape in shapes]).unary_union
        cut = whole.intersection(frame)
        if cut.dims == 2:
            yield name, cut


def _roads_and_water(file: MapFile, box: Box) -> Iterator[tuple[str, Any]]:
    frame = Polygon.from_bbox(box)
    for layer in (name for name in _WATER if name in file.layers):
        for shape, _ in _features(file, layer, box):
            yield "water", shape.intersection(frame)
    roads = [
        (fields.get("kind") or fields.get("class") or "", shape)
        for layer in _ROADS
        if layer in file.layers
        for shape, fields in _features(file, layer, box)
    ]
    for _, shape in sorted(roads, key=lambda road: road[0] in _SMALL_ROADS):
        yield "roads", shape.intersection(frame)


def _features(file: MapFile, layer: str, box: Box) -> Iterator[tuple[GEOSGeometry, dict]]:
    """What the tiles of the box hold in a layer, each piece with its fields."""
    for tile, content in _tiles(file, box):
        if layer not in {name for name, _ in pyogrio.list_layers(content)}:
            continue
        # GDAL: the numbers of the tile turn its own units into meters.
        numbers = dict(zip("ZXY", map(str, tile), strict=True))
        meta, _, shapes, columns = read(content, layer=layer, **numbers)
        for row, shape in enumerate(shapes):
            values = [column[row] for column in columns]
            if shape is not None:
                yield (
                    GEOSGeometry(memoryview(shape)),
                    dict(zip(meta["fields"], values, strict=True)),
                )


def _tiles(file: MapFile, box: Box) -> Iterator[tuple[tuple[int, int, int], bytes]]:
    """The tiles of the finest level of the file that has the box on a few, unpacked."""
    longer = max(box[2] - box[0], box[3] - box[1])
    level = max(0, min(file.last_level, math.floor(math.log2(_WORLD_M / longer * _MOST_TILES))))
    tiles = 2**level
    size = _WORLD_M / tiles
    west, east = (math.floor((x + _WORLD_M / 2) / size) for x in (box[0], box[2]))
    north, south = (math.floor((_WORLD_M / 2 - y) / size) for y in (box[3], box[1]))
    with opened_archive(file.path) as archive:
        is_packed = archive.header()["tile_compression"] is Compression.GZIP
        for x in range(west, east + 1):
            for y in range(max(north, 0), min(south, tiles - 1) + 1):
                content = archive.get(level, x % tiles, y)
                if content:
                    yield (level, x, y), gzip.decompress(content) if is_packed else content


def _shrunk(box: Box) -> Polygon:
    return Polygon.from_bbox((box[0] + 2, box[1] + 2, box[2] - 2, box[3] - 2))


def _parts_of(shape: GEOSGeometry, kind: type) -> Iterator[Any]:
    if isinstance(shape, GeometryCollection):
        for part in shape:
            yield from _parts_of(part, kind)
    elif isinstance(shape, kind) and not shape.empty:
        yield shape


def _json(value: Any) -> str:
    return json.dumps(value, separators=(",", ":"))
