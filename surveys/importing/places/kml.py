"""KML 2.2, loose or packed as KMZ: a placemark is a stop or a line, its folder tells the route.
Runs in `surveys.bounded`."""

import html
import re
from collections.abc import Iterator
from xml.etree.ElementTree import Element

from surveys.bounded import RefusedError
from surveys.importing.places.found import FOLDER, NAME, NOTES, Found, Position
from surveys.importing.places.xml_files import children, name_of, text_of
from surveys.language import gettext_noop as _

_TAG = re.compile(r"<[^<>]*>")


def read_kml(root: Element, found: Found) -> None:
    _read_container(root, "", found)


def _read_container(container: Element, folder: str, found: Found) -> None:
    for child in container:
        match name_of(child):
            case "Folder":
                _read_container(child, text_of(child, "name") or folder, found)
            case "Document":
                _read_container(child, folder, found)
            case "Placemark":
                _read_placemark(child, folder, found)
            case "NetworkLink":
                text = _("“{name}” only links to another file. Save that one, and send it too.")
                found.notices.append((text, {"name": text_of(child, "name")}))


def _read_placemark(placemark: Element, folder: str, found: Found) -> None:
    description = _TAG.sub(" ", html.unescape(text_of(placemark, "description")))
    texts = {FOLDER: folder, NAME: text_of(placemark, "name"), NOTES: description}
    texts |= dict(_attributes(placemark))
    for geometry in _geometries(placemark):
        match name_of(geometry):
            case "Point":
                for position in _coordinates(geometry, texts[NAME])[:1]:
                    found.add_point(position, texts)
            case "LineString":
                found.add_line(_coordinates(geometry, texts[NAME]), texts)
            case "Track":
                found.add_line(_of_track(geometry, texts[NAME]), texts)
            case "Polygon":
                found.add_outline(_rings(geometry, texts[NAME]))


def _geometries(element: Element) -> Iterator[Element]:
    for child in element:
        if name_of(child) in ("MultiGeometry", "MultiTrack"):
            yield from _geometries(child)
        else:
            yield child


def _attributes(placemark: Element) -> Iterator[tuple[str, str]]:
    for extended in children(placemark, "ExtendedData"):
        for data in children(extended, "Data"):
            yield data.get("name", ""), text_of(data, "value")
        for schema in children(extended, "SchemaData"):
            for data in children(schema, "SimpleData"):
                yield data.get("name", ""), "".join(data.itertext())


def _rings(polygon: Element, name: str) -> Iterator[list[Position]]:
    for side in ("outerBoundaryIs", "innerBoundaryIs"):
        for boundary in children(polygon, side):
            for ring in children(boundary, "LinearRing"):
                yield _coordinates(ring, name)


def _coordinates(geometry: Element, name: str) -> list[Position]:
    """Longitude, latitude and perhaps a height, a blank between places."""
    return [_position(place.split(","), name) for place in text_of(geometry, "coordinates").split()]


def _of_track(track: Element, name: str) -> list[Position]:
    return [
        _position("".join(place.itertext()).split(), name) for place in children(track, "coord")
    ]


def _position(numbers: list[str], name: str) -> Position:
    try:
        return float(numbers[1]), float(numbers[0])
    except (ValueError, IndexError):
        raise RefusedError(
            _(
                "The coordinates of “{name}” cannot be read. KML writes longitude, latitude "
                "without a blank between them."
            ),
            name=name,
        ) from None
