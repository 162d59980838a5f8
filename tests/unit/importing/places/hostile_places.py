"""Files of places made to break their reader: each with words of the sentence that refuses it."""

import json
import sqlite3
import struct
import tempfile
from collections.abc import Callable
from pathlib import Path

from tests.support.places import csv, geojson, geopackage, gpx, kml, shapefile, zipped
from tests.unit.importing.hostile_files import LAUGHS

GPX = '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{}</gpx>'
KML = "<kml><Document>{}</Document></kml>"
POINT = '<wpt lat="43" lon="-89"><name>{}</name></wpt>'


def in_folder(make: Callable[[Path], bytes]) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        return make(Path(folder))


def shape_with(part: str, change: Callable[[bytes], bytes]) -> bytes:
    """The good shapefile with one of its parts changed."""

    def make(folder: Path) -> bytes:
        shapefile(folder)
        parts = {path.name: path.read_bytes() for path in folder.glob("stops.*")}
        parts[f"stops.{part}"] = change(parts[f"stops.{part}"])
        return zipped(parts)

    return in_folder(make)


def database(*statements: str) -> bytes:
    """A GeoPackage that was changed behind GDAL's back."""

    def make(folder: Path) -> bytes:
        geopackage(folder)
        with sqlite3.connect(folder / "stops.gpkg") as connection:
            for statement in statements:
                connection.execute(statement)
        connection.close()
        return (folder / "stops.gpkg").read_bytes()

    return in_folder(make)


def collection(*geometries: object) -> bytes:
    features = [{"type": "Feature", "properties": {}, "geometry": one} for one in geometries]
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


def wide(columns: int) -> bytes:
    properties = {f"c{number}": 1 for number in range(columns)}
    geometry = {"type": "Point", "coordinates": [-89, 43]}
    feature = {"type": "Feature", "properties": properties, "geometry": geometry}
    return json.dumps(feature).encode()


def endless_layer() -> bytes:
    return database(
        "CREATE VIEW endless AS WITH RECURSIVE n(fid, geom) AS (SELECT 1, NULL UNION ALL SELECT "
        "fid + 1, NULL FROM n) SELECT fid, CAST(geom AS BLOB) AS geom FROM n WHERE fid < 0",
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES "
        "('endless', 'features', 'endless', 4326)",
        "INSERT INTO gpkg_geometry_columns VALUES ('endless', 'geom', 'POINT', 4326, 0, 0)",
    )


NOT_A_NUMBER = struct.pack("<d", float("nan"))

# A name, what makes the file, words of the sentence; no words: read, or refused in some sentence.
HOSTILE: list[tuple[str, Callable[[], bytes], str]] = [
    ("entities in GPX", lambda: (LAUGHS + GPX.format(POINT.format("&i;"))).encode(),
     "document type"),
    ("entities in KML", lambda: (LAUGHS + KML.format("&i;")).encode(), "document type"),
    ("entity that reads a file",
     lambda: ('<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]>'
              + GPX.format(POINT.format("&e;"))).encode(), "document type"),
    ("deep folders", lambda: KML.format("<Folder>" * 90_000).encode(), "more parts than any route"),
    ("XML cut off", lambda: gpx()[:300], "damaged at line 1"),
    ("XML of no known encoding", lambda: b'<?xml version="1.0" encoding="frog-8"?><gpx/>',
     "encoding|damaged"),
    ("XML in another encoding than it says",
     lambda: b'<?xml version="1.0" encoding="utf-8"?><gpx><wpt lat="1" lon="1"><name>\xff</name>'
             b"</wpt></gpx>", "damaged at line 1"),
    ("NUL in XML", lambda: b'<gpx><wpt lat="1" lon="1"><name>a\x00</name></wpt></gpx>', "damaged"),
    ("XML of another kind", lambda: b"<html><body/></html>", "not GPX or KML"),
    ("waypoint without a place", lambda: GPX.format('<wpt lat="x"/>').encode(), "no latitude and"),
    ("waypoint off the globe", lambda: GPX.format('<wpt lat="91" lon="0"/>').encode(), "globe"),
    ("waypoint that is not a number",
     lambda: GPX.format('<wpt lat="nan" lon="inf"/>').encode(), "Position 1 of the file is not a"),
    ("digits without end", lambda: GPX.format(f'<wpt lat="{"9" * 9_000}" lon="0"/>').encode(),
     "not a number|globe"),
    ("GPX without anything", lambda: GPX.format("").encode(), "no points, lines or areas"),
    ("coordinates with blanks",
     lambda: KML.format("<Placemark><name>Pond</name><Point><coordinates>-89, 43</coordinates>"
                        "</Point></Placemark>").encode(), "coordinates of “Pond” cannot be read"),
    ("JSON cut off", lambda: geojson()[:200], "part of it is missing"),
    ("JSON that is no GeoJSON", lambda: b'{"frogs": [1, 2]}', "no points, lines or areas"),
    ("GeoJSON with words for numbers",
     lambda: collection({"type": "Point", "coordinates": ["43", "-89"]}), "Feature 1 of the"),
    ("GeoJSON with too few numbers",
     lambda: collection({"type": "Point", "coordinates": [-89, 43]}, {"type": "LineString",
                         "coordinates": [[1]]}), "Feature 2 of the"),
    ("GeoJSON with a geometry that is a text",
     lambda: collection("POINT(1 2)"), "Feature 1 of the"),
    ("huge numbers", lambda: b'{"type": "Point", "coordinates": [' + b"9" * 5_000 + b", 1]}",
     "part of it is missing"),
    ("infinity", lambda: b'{"type": "Point", "coordinates": [Infinity, NaN]}', "is not a number"),
    ("NUL in GeoJSON",
     lambda: b'{"type": "Feature", "properties": {"name": "a\\u0000\\ud800"}, "geometry": '
             b'{"type": "Point", "coordinates": [-89, 43]}}', ""),
    ("a million columns in GeoJSON", lambda: wide(100_000), "more than 200 columns"),
    ("a million columns in CSV", lambda: b"," * 1_000_000 + b"x\nR1\n", "more than 200 columns"),
    ("a million points in a line",
     lambda: json.dumps({"type": "LineString", "coordinates": [[1, 2]] * 300_001}).encode(),
     "more than 300000 positions"),
    ("too many points", lambda: GPX.format('<wpt lat="1" lon="1"/>' * 10_001).encode(),
     "more than 10000 points"),
    ("self-crossing outline",
     lambda: collection({"type": "Polygon",
                         "coordinates": [[[0, 0], [1, 1], [1, 0], [0, 1], [0, 0]]]}), ""),
    ("NUL in CSV", lambda: b"Route,Stop\nR1\x00,1\n", "not a CSV"),
    ("only headers", lambda: csv([]), "each row below it one stop"),
    ("zip cut off", lambda: zipped({"doc.kml": kml()})[:200], "cut off, damaged"),
    ("zip of other things", lambda: zipped({"readme.txt": b"frogs"}), "no file with places"),
    ("zip that lies", lambda: zipped({"a.kml": b"\x00\x01frogs"}), "not what its name says"),
]  # fmt: skip
# These are read by another process.
BOMBS: list[tuple[str, Callable[[], bytes], str]] = [
    ("deep XML", lambda: b"<gpx>" + b"<a>" * 1_000_000, "more parts than any route"),
    ("many elements", lambda: b"<gpx>" + b"<a/>" * 1_100_000 + b"</gpx>", "more parts than"),
    ("brackets", lambda: b"[" * 3_000_000, "part of it is missing"),
    ("braces", lambda: b'{"a":' * 2_000_000, "part of it is missing"),
    ("zip bomb", lambda: zipped({"doc.kml": bytes(101 * 1024 * 1024)}), "too large when unpacked"),
    ("path out of the zip", lambda: zipped({"../../etc/stops.shp": b"frogs"}),
     "no file with places|lacks its index"),
    ("shapefile without a table", lambda: shape_with("dbf", lambda _: b""), ""),
    ("shapefile cut off", lambda: shape_with("shp", lambda shp: shp[:120]), ""),
    ("shapefile of noise", lambda: shape_with("shp", lambda shp: b"\xff" * len(shp)),
     "no points|GDAL cannot read"),
    ("shapefile with NaN",
     lambda: shape_with("shp", lambda shp: shp[:112] + NOT_A_NUMBER * 2 + shp[128:]), ""),
    ("shapefile with a header of noise",
     lambda: shape_with("dbf", lambda dbf: dbf[:4] + b"\xff" * 28 + dbf[32:]), ""),
    ("reference system of noise",
     lambda: shape_with("prj", lambda _: b"PROJCS[" * 50_000), ""),
    ("GeoPackage cut off", lambda: in_folder(geopackage)[:5_000], "GDAL cannot read"),
    ("GeoPackage of noise", lambda: b"SQLite format 3\x00" + b"\xff" * 10_000, "GDAL cannot read"),
    ("GeoPackage with blobs of noise",
     lambda: database("DROP TRIGGER IF EXISTS rtree_stops_geom_update6",
                      "DROP TRIGGER IF EXISTS rtree_stops_geom_update7",
                      "PRAGMA writable_schema = 1",
                      "DELETE FROM sqlite_master WHERE type = 'trigger'"), ""),
]  # fmt: skip
