"""Every format of places is read to the same values; hostile files are refused in a sentence."""

import json
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest

from surveys import bounded
from surveys.importing.places import files, reading
from surveys.importing.places.reading import LIMITS, read_places
from surveys.importing.problems import UnreadableFileError
from tests.support import places
from tests.support.places import POINTS, read_here
from tests.unit.importing.places.hostile_places import BOMBS, HOSTILE, endless_layer

WHERE = [(p.latitude, p.longitude) for p in POINTS]
NAMES = [p.name for p in POINTS]
# UTM zone 16 north. By definition its central meridian, 87° W, lies at 500 km east, and the equator
# at 0 km north (EPSG 16016, from memory).
UTM = "EPSG:32616"
ORIGIN = places.Point("R01", 1, "Étang", latitude=0.0, longitude=500_000.0)


def column(found: reading.PlacesFile, header: str) -> list[str]:
    position = [name.casefold() for name in found.table.headers].index(header.casefold())
    return found.table.column(position)


def where(found: reading.PlacesFile) -> list[tuple[float, float]]:
    pairs = zip(column(found, "Latitude"), column(found, "Longitude"), strict=True)
    return [(float(latitude), float(longitude)) for latitude, longitude in pairs]


@pytest.mark.parametrize(
    "make", [places.csv, places.xlsx, places.gpx, places.kml, places.kmz, places.geojson]
)
def test_each_format(make):
    found = read_here(make())
    assert where(found) == WHERE
    assert column(found, "Name") == NAMES
    assert column(found, "Stop") == [str(p.stop) for p in POINTS]


@pytest.mark.parametrize("make", [places.shapefile, places.geopackage])
def test_each_format_that_gdal_reads(make, tmp_path: Path):
    found = read_here(make(tmp_path))
    assert where(found) == WHERE
    assert column(found, "name") == NAMES
    assert column(found, "route") == [p.route for p in POINTS]


@pytest.mark.parametrize("make", [places.gpx, places.kml, places.geojson])
def test_lines(make):
    first, second = read_here(make()).lines
    assert list(first.points) == WHERE[:3]
    assert list(second.points) == WHERE[3:]
    assert "R01" in first.texts.values()


@pytest.mark.parametrize("make", [places.shapefile, places.geopackage])
def test_a_map_grid_becomes_degrees(make, tmp_path: Path):
    found = read_here(make(tmp_path, [ORIGIN], UTM))
    assert where(found) == [(0.0, -87.0)]
    assert column(found, "name") == ["Étang"]


def test_a_map_grid_without_a_name_is_not_guessed(tmp_path):
    places.shapefile(tmp_path, [ORIGIN], UTM)
    parts = {path.name: path.read_bytes() for path in tmp_path.glob("stops.*")}
    del parts["stops.prj"]
    with pytest.raises(bounded.RefusedError, match="does not say its coordinate system"):
        read_here(places.zipped(parts))


def test_an_older_geojson_names_its_map_grid():
    old = {
        "type": "FeatureCollection",
        "crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32616"}},
        "features": [
            {
                "type": "Feature",
                "properties": {"name": "Pond"},
                "geometry": {"type": "Point", "coordinates": [500_000, 0]},
            }
        ],
    }
    assert where(read_here(json.dumps(old).encode())) == [(0.0, -87.0)]


def test_waypoints_make_route_points_a_line():
    content = places.gpx().replace(b"<rte>", b'<wpt lat="1" lon="2"><name>A</name></wpt><rte>', 1)
    found = read_here(content)
    assert where(found) == [(1.0, 2.0)]
    assert len(found.lines) == 4


def test_outlines_keep_their_holes():
    outer, hole = [[0, 0], [9, 0], [9, 9], [0, 0]], [[1, 1], [2, 1], [2, 2], [1, 1]]
    polygon = {"type": "Polygon", "coordinates": [outer, hole]}
    ((first, second),) = read_here(json.dumps(polygon).encode()).outlines
    assert (first[1], second[1]) == ((0.0, 9.0), (1.0, 2.0))


def test_text_of_a_description_is_plain():
    assert column(read_here(places.kml()), "Notes")[0] == "quiet"


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
@pytest.mark.parametrize("make", [places.csv, places.geojson, places.kml])
def test_encodings(make, encoding):
    text = make().decode().replace("Mill", "Étang").replace('<?xml version="1.0"?>', "")
    assert column(read_here(text.encode(encoding)), "Name")[0] == "Étang pond 1-1"


@pytest.mark.parametrize(("make", "words"), [c[1:] for c in HOSTILE], ids=[c[0] for c in HOSTILE])
def test_hostile_files(make, words):
    judge(make(), words, lambda content: json.loads(files.parse(content)))


def test_a_file_that_takes_too_long(monkeypatch):
    """A layer that is a query without end."""
    monkeypatch.setattr(reading, "LIMITS", replace(LIMITS, cpu_seconds=2))
    judge(endless_layer(), "too much time or memory", read_places)


@pytest.mark.parametrize(("make", "words"), [c[1:] for c in BOMBS], ids=[c[0] for c in BOMBS])
def test_bombs(make, words):
    """Within the limits of memory and time."""
    judge(make(), words, read_places)


def judge(content: bytes, words: str, read: Callable[[bytes], object]) -> None:
    """Refused in a sentence, or read."""
    if not words:
        with suppress(UnreadableFileError, bounded.RefusedError):
            found = json.dumps(read(content))
            assert "\\u0000" not in found
        return
    with pytest.raises((UnreadableFileError, bounded.RefusedError), match=words) as caught:
        read(content)
    assert str(caught.value)[-1] in ".?", "a sentence"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b" ", "empty"),
        (b"a" * (11 * 1024 * 1024), "11 MB"),
        (b"\xd0\xcf\x11\xe0" + bytes(600), r"\.xls"),
    ],
)
def test_what_is_not_even_opened(content, words):
    with pytest.raises(UnreadableFileError, match=words):
        read_places(content)
