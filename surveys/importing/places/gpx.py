"""GPX 1.0 and 1.1: waypoints are stops, tracks are lines, and a route is the stops that it names.
Runs in `surveys.bounded`."""

from xml.etree.ElementTree import Element

from surveys.bounded import RefusedError
from surveys.importing.places.found import NAME, NOTES, ROUTE, STOP, Found, Position
from surveys.importing.places.xml_files import children, name_of, text_of
from surveys.language import gettext_noop as _


def read_gpx(root: Element, found: Found) -> None:
    """Where there are waypoints, the points of a route only say where the road goes."""
    waypoints = list(children(root, "wpt"))
    for point in waypoints:
        found.add_point(_position(point), {NAME: text_of(point, "name")} | _notes(point))
    for route in children(root, "rte"):
        _read_route(route, found, as_line=bool(waypoints))
    for track in children(root, "trk"):
        points = (
            _position(point)
            for segment in children(track, "trkseg")
            for point in children(segment, "trkpt")
        )
        found.add_line(points, {NAME: text_of(track, "name")})


def _read_route(route: Element, found: Found, *, as_line: bool) -> None:
    name = text_of(route, "name")
    points = list(children(route, "rtept"))
    if as_line:
        found.add_line((_position(point) for point in points), {NAME: name})
        return
    for number, point in enumerate(points, start=1):
        texts = {ROUTE: name, STOP: number, NAME: text_of(point, "name")}
        found.add_point(_position(point), texts | _notes(point))


def _notes(point: Element) -> dict[str, str]:
    return {NOTES: text_of(point, "desc") or text_of(point, "cmt")}


def _position(point: Element) -> Position:
    try:
        return float(point.get("lat", "")), float(point.get("lon", ""))
    except ValueError:
        raise RefusedError(
            _("A point “{name}” ({tag}) has no latitude and longitude in degrees."),
            name=text_of(point, "name"),
            tag=name_of(point),
        ) from None
