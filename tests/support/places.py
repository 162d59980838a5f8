"""The same routes and stops in a file of every format."""

import io
import json
import struct
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy
from pyogrio.raw import write

from surveys.importing.places import files
from surveys.importing.places.reading import PlacesFile, places_file
from tests.support.spreadsheets import workbook


@dataclass(frozen=True)
class Point:
    route: str
    stop: int
    name: str
    latitude: float
    longitude: float


def points_of(routes: int, stops: int, *, step: float = 0.0125) -> list[Point]:
    """Routes going east from 89.4° W, about 1 km from stop to stop and 5 km from route to route."""
    return [
        Point(
            f"R{route:02}",
            stop,
            f"Mill pond {route}-{stop}",
            round(43.0731 + 0.05 * (route - 1), 7),
            round(-89.4012 + step * (stop - 1), 7),
        )
        for route in range(1, routes + 1)
        for stop in range(1, stops + 1)
    ]


POINTS = points_of(2, 3)
HEADERS = ["Route", "Stop", "Name", "Latitude", "Longitude"]


def read_here(content: bytes) -> PlacesFile:
    """As `read_places`, in this process."""
    return places_file(json.loads(files.parse(content)))


def csv(points: Sequence[Point] = POINTS, headers: Sequence[str] = HEADERS) -> bytes:
    rows = [f"{p.route},{p.stop},{p.name},{p.latitude:.7f},{p.longitude:.7f}" for p in points]
    return "\n".join([",".join(headers), *rows, ""]).encode()


def xlsx(points: Sequence[Point] = POINTS) -> bytes:
    rows = [[p.route, p.stop, p.name, p.latitude, p.longitude] for p in points]
    return workbook([HEADERS, *rows])


def gpx(points: Sequence[Point] = POINTS) -> bytes:
    """Each route as the route points that it names, and as the track of the road."""
    return _xml(
        "gpx", 'version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"',
        *(_gpx_part("rte", "rtept", route, on) for route, on in _by_route(points)),
        *(f"<trk><name>{route}</name><trkseg>{_gpx_points('trkpt', on)}</trkseg></trk>"
          for route, on in _by_route(points)),
    )  # fmt: skip


def _gpx_part(tag: str, point: str, name: str, points: Sequence[Point]) -> str:
    return f"<{tag}><name>{name}</name>{_gpx_points(point, points)}</{tag}>"


def _gpx_points(tag: str, points: Sequence[Point]) -> str:
    return "".join(
        f'<{tag} lat="{p.latitude}" lon="{p.longitude}"><name>{p.name}</name></{tag}>'
        for p in points
    )


def gpx_waypoints(points: Sequence[Point] = POINTS) -> bytes:
    """As receivers keep them: waypoints named by route and stop."""
    waypoints = (
        f'<wpt lat="{p.latitude}" lon="{p.longitude}"><name>{p.route}-{p.stop:02}</name></wpt>'
        for p in points
    )
    return _xml("gpx", 'version="1.0" xmlns="http://www.topografix.com/GPX/1/0"', *waypoints)


def kml(points: Sequence[Point] = POINTS) -> bytes:
    """A folder for each route with its line and its stops."""
    folders = []
    for route, on in _by_route(points):
        places = "".join(
            f"<Placemark><name>{p.name}</name><description>&lt;b&gt;quiet&lt;/b&gt;</description>"
            f'<ExtendedData><Data name="Stop"><value>{p.stop}</value></Data></ExtendedData>'
            f"<Point><coordinates>{p.longitude},{p.latitude},0</coordinates></Point></Placemark>"
            for p in on
        )
        along = " ".join(f"{p.longitude},{p.latitude}" for p in on)
        line = (
            f"<Placemark><name>{route}</name><LineString><coordinates>{along}</coordinates>"
            "</LineString></Placemark>"
        )
        folders.append(f"<Folder><name>{route}</name>{line}{places}</Folder>")
    return _xml(
        "kml", 'xmlns="http://www.opengis.net/kml/2.2"', "<Document>", *folders, "</Document>"
    )


def kmz(points: Sequence[Point] = POINTS) -> bytes:
    return zipped({"doc.kml": kml(points), "files/picture.png": b"\x89PNG"})


def geojson(points: Sequence[Point] = POINTS) -> bytes:
    features = [
        _feature("Point", [p.longitude, p.latitude], route=p.route, stop=p.stop, name=p.name)
        for p in points
    ] + [
        _feature("LineString", [[p.longitude, p.latitude] for p in on], route=route)
        for route, on in _by_route(points)
    ]
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


def _feature(kind: str, coordinates: object, **properties: object) -> dict[str, object]:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def written(
    folder: Path, driver: str, name: str, points: Sequence[Point] = POINTS, crs: str = "EPSG:4326"
) -> Path:
    """A layer of the points, by GDAL. On another `crs` the coordinates are taken as they are."""
    path = folder / name
    geometry = numpy.array(
        [struct.pack("<BIdd", 1, 1, p.longitude, p.latitude) for p in points], dtype=object
    )
    columns = [
        numpy.array([p.route for p in points], dtype=object),
        numpy.array([p.stop for p in points]),
        numpy.array([p.name for p in points], dtype=object),
    ]
    write(path, geometry, columns, ["route", "stop", "name"], driver=driver, crs=crs,
          geometry_type="Point", encoding="UTF-8")  # fmt: skip
    return path


def shapefile(folder: Path, points: Sequence[Point] = POINTS, crs: str = "EPSG:4326") -> bytes:
    path = written(folder, "ESRI Shapefile", "stops.shp", points, crs)
    return zipped(
        {f"shapes/{part.name}": part.read_bytes() for part in path.parent.glob("stops.*")}
    )


def geopackage(folder: Path, points: Sequence[Point] = POINTS, crs: str = "EPSG:4326") -> bytes:
    return written(folder, "GPKG", "stops.gpkg", points, crs).read_bytes()


def zipped(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return out.getvalue()


def _by_route(points: Sequence[Point]) -> list[tuple[str, list[Point]]]:
    routes: dict[str, list[Point]] = {}
    for point in points:
        routes.setdefault(point.route, []).append(point)
    return list(routes.items())


def _xml(root: str, attributes: str, *parts: str) -> bytes:
    return f'<?xml version="1.0"?><{root} {attributes}>{"".join(parts)}</{root}>'.encode()
