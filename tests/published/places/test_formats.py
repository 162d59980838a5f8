"""GPX, KML and GeoJSON against GDAL's own readers, and the worked examples of the standards."""

import json
import struct

import pyogrio
import pytest
from pyogrio.raw import read

from tests.support import places
from tests.support.places import read_here

# RFC 7946, appendix A.1 and A.2.
RFC_7946 = (
    ('{"type": "Point", "coordinates": [100.0, 0.0]}', [(0.0, 100.0)], []),
    (
        '{"type": "LineString", "coordinates": [[100.0, 0.0], [101.0, 1.0]]}',
        [],
        [((0.0, 100.0), (1.0, 101.0))],
    ),
)
# Codes of points without and with a height (ISO 19125 and its older extension).
WKB_POINTS = (1, 1001, 0x80000001)
# OGC 07-147r2 (KML 2.2), clause 10.5.2: a placemark with a point, longitude first (from memory).
KML = """<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><name>Simple placemark</name>
<Point><coordinates>-122.0822035425683,37.42228990140251,0</coordinates></Point>
</Placemark></kml>"""


def found_points(found) -> list[tuple[float, float]]:
    headers = list(found.table.headers)
    if not headers:
        return []
    latitude, longitude = headers.index("Latitude"), headers.index("Longitude")
    return [(float(row.texts[latitude]), float(row.texts[longitude])) for row in found.table.rows]


def by_gdal(content: bytes) -> list[tuple[float, float]]:
    """All points, as GDAL reads them: well-known binary, little-endian, heights perhaps behind."""
    shapes = [
        shape
        for layer, (_, kind) in enumerate(pyogrio.list_layers(content))
        if kind is not None
        for shape in read(content, layer=layer)[2]
        if struct.unpack_from("<I", shape, 1)[0] in WKB_POINTS
    ]
    points = (struct.unpack_from("<dd", shape, 5) for shape in shapes)
    return [(latitude, longitude) for longitude, latitude in points]


@pytest.mark.parametrize("make", [places.gpx_waypoints, places.kml, places.geojson])
def test_the_same_points_as_gdal(make):
    content = make()
    ours, theirs = found_points(read_here(content)), by_gdal(content)
    assert len(ours) == len(theirs) == 6
    for one, other in zip(ours, theirs, strict=True):
        assert one == pytest.approx(other, abs=1e-7)


@pytest.mark.parametrize(("text", "points", "lines"), RFC_7946)
def test_examples_of_rfc_7946(text, points, lines):
    found = read_here(json.dumps(json.loads(text)).encode())
    assert found_points(found) == points
    assert [line.points for line in found.lines] == lines


def test_the_example_of_kml():
    (point,) = found_points(read_here(KML.encode()))
    assert point == pytest.approx((37.42228990140251, -122.0822035425683), abs=1e-7)
