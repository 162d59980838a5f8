"""The map files: the one that ships is whole, and one of the site is refused in words."""

import gzip
import json
from collections import Counter

import pyogrio
import pytest
from django.contrib.gis.geos import GEOSGeometry, Polygon
from pmtiles.reader import MmapSource, all_tiles
from pmtiles.tile import Compression, TileType, serialize_header
from pyogrio.raw import read

from surveys.land.files import BadMapFile, check_map_file, land_file, own_file
from tests.support.land_file import FIRST_LEVELS, LAST_LEVEL, TARGET, areas, mended, metadata, stamp


def test_the_map_that_ships_is_that_of_its_packages():
    assert metadata()["made_from"] == stamp(), "stale: run deploy/generate land"
    land = land_file()
    assert land.layers == tuple(FIRST_LEVELS)
    assert (land.last_level, land.attribution) == (LAST_LEVEL, "Natural Earth, U.S. Census Bureau")
    assert land.size < 4_000_000


@pytest.mark.slow
def test_every_area_of_the_packages_is_whole_in_the_tiles():
    """Areas in square meters of Web Mercator: what lies in the tiles beside what came in."""
    came_in: Counter = Counter()
    for layer, rows in areas().items():
        for row in rows:
            shape = GEOSGeometry(memoryview(mended(row.shape)), srid=4326)
            shape = shape.intersection(Polygon.from_bbox((-180, -85.05, 180, 85.05)))
            shape.transform(3857)
            came_in[layer, row.name, row.within] += shape.area
    drawn: Counter = Counter()
    with TARGET.open("rb") as file:
        for (level, x, y), tile in all_tiles(MmapSource(file)):
            if level == LAST_LEVEL:
                drawn.update(areas_in(gzip.decompress(tile), level, x, y))
    shares = {area: drawn[area] / size for area, size in came_in.items() if size > 1e8}
    assert len(shares) > 3000
    assert {area: share for area, share in shares.items() if abs(share - 1) > 0.03} == {}


def areas_in(tile: bytes, level: int, x: int, y: int) -> Counter:
    found: Counter = Counter()
    for layer, kind in pyogrio.list_layers(tile):
        if kind == "Point":
            continue
        meta, _, shapes, columns = read(tile, layer=layer, Z=str(level), X=str(x), Y=str(y))
        fields = dict(zip(meta["fields"], columns, strict=True))
        within = fields.get("within", [""] * len(shapes))
        for shape, name, there in zip(shapes, fields["name"], within, strict=True):
            found[layer, name, there or ""] += GEOSGeometry(memoryview(shape)).area
    return found


def archive(
    tile_type=TileType.MVT, compression=Compression.GZIP, about=None, tile_bytes=0
) -> bytes:
    """A PMTiles file without its tiles, which would take `tile_bytes` after the rest."""
    packed = gzip.compress(json.dumps(about or {}).encode())
    numbers = (
        "root_offset root_length leaf_directory_offset leaf_directory_length tile_data_offset "
        "tile_data_length addressed_tiles_count tile_entries_count tile_contents_count min_zoom "
        "max_zoom min_lon_e7 min_lat_e7 max_lon_e7 max_lat_e7 center_zoom "
        "center_lon_e7 center_lat_e7"
    )
    head = dict.fromkeys(numbers.split(), 0) | {
        "metadata_offset": 127,
        "metadata_length": len(packed),
        "tile_data_offset": 127 + len(packed),
        "tile_data_length": tile_bytes,
        "clustered": False,
        "internal_compression": Compression.GZIP,
        "tile_compression": compression,
        "tile_type": tile_type,
        "version": 3,
    }
    return serialize_header(head) + packed


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "is not a whole PMTiles file of version 3"),
        (b"PK\x03\x04" + bytes(200), "is not a whole PMTiles file of version 3"),
        (b"PMTiles\x02" + bytes(200), "is not a whole PMTiles file of version 3"),
        (archive()[:140], "is not a whole PMTiles file of version 3"),
        (archive(tile_bytes=1), "is not a whole PMTiles file of version 3"),
        (archive(TileType.PNG), "has no vector tiles"),
        (archive(compression=Compression.ZSTD), "has no vector tiles"),
    ],
    ids=[
        "empty",
        "another format",
        "an older version",
        "cut off in its head",
        "cut off in its tiles",
        "pictures",
        "packed otherwise",
    ],
)
def test_a_file_that_cannot_be_drawn_is_refused_and_leaves_maps_as_they_are(
    content, why, tmp_path, settings
):
    file = tmp_path / "own.pmtiles"
    file.write_bytes(content)
    with pytest.raises(BadMapFile, match=why):
        check_map_file(file)
    settings.MAP_FILE = file
    assert own_file() is None


def test_a_file_that_was_exchanged_is_read_anew_and_its_attribution_is_plain(tmp_path, settings):
    settings.MAP_FILE = file = tmp_path / "own.pmtiles"
    assert own_file() is None
    file.write_bytes(archive())
    first = own_file()
    assert (first.layers, first.attribution) == ((), "")
    about = {"attribution": '<a href="/x">A &amp; B</a>', "vector_layers": [{"id": "roads"}]}
    file.write_bytes(archive(about=about))
    second = own_file()
    assert (second.layers, second.attribution) == (("roads",), "A & B")
    assert second.version != first.version
