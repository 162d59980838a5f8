"""GeoJSON (RFC 7946). Runs in `surveys.bounded`."""

import json
from collections.abc import Iterator
from typing import Any

from surveys.bounded import RefusedError
from surveys.importing.places.found import Found, Position
from surveys.language import gettext_noop as _

# Names of the one reference system that RFC 7946 knows, as older files write it out.
_WGS84 = ("CRS84", "EPSG::4326", "EPSG:4326")


def load_geojson(content: bytes) -> Any:
    """Raises RefusedError."""
    try:
        return json.loads(content)
    except (ValueError, RecursionError):
        raise RefusedError(
            _("This looks like GeoJSON, but part of it is missing or damaged. Export it again.")
        ) from None


def is_projected(geojson: Any) -> bool:
    """Whether the file names another reference system, as was allowed before RFC 7946."""
    crs = geojson.get("crs") if isinstance(geojson, dict) else None
    return crs is not None and not str(crs).rstrip("'}").endswith(_WGS84)


def read_geojson(geojson: Any, found: Found) -> None:
    """Raises RefusedError with the number of the feature that cannot be read."""
    for number, (geometry, properties) in enumerate(_features(geojson), start=1):
        try:
            _read_geometry(geometry, properties, found)
        except (TypeError, ValueError, KeyError, IndexError, AttributeError):
            raise RefusedError(
                _("Feature {number} of the GeoJSON has no coordinates that can be read."),
                number=number,
            ) from None


def _features(geojson: Any) -> Iterator[tuple[Any, dict[str, object]]]:
    """Every geometry with its properties."""
    if not isinstance(geojson, dict):
        return
    match geojson.get("type"):
        case "FeatureCollection" if isinstance(geojson.get("features"), list):
            for feature in geojson["features"]:
                if isinstance(feature, dict) and feature.get("type") == "Feature":
                    yield from _features(feature)
        case "Feature":
            properties = geojson.get("properties")
            yield geojson.get("geometry"), properties if isinstance(properties, dict) else {}
        case _:
            yield geojson, {}


def _read_geometry(geometry: Any, properties: dict[str, object], found: Found) -> None:
    """What is empty is left out, so is a collection in a collection."""
    if geometry is None:
        return
    texts = {name: _text(value) for name, value in properties.items()}
    kind, coordinates = geometry.get("type"), geometry.get("coordinates") or []
    if kind in ("Point", "MultiPoint"):
        for place in [coordinates] if kind == "Point" and coordinates else coordinates:
            found.add_point(_position(place), texts)
    elif kind in ("LineString", "MultiLineString"):
        parts = [coordinates] if kind == "LineString" else coordinates
        found.add_line((_position(place) for part in parts for place in part), texts)
    elif kind in ("Polygon", "MultiPolygon"):
        polygons = [coordinates] if kind == "Polygon" else coordinates
        for rings in filter(None, polygons):
            found.add_outline(map(_position, ring) for ring in rings)
    elif kind == "GeometryCollection":
        for part in geometry["geometries"]:
            if part.get("type") != "GeometryCollection":
                _read_geometry(part, properties, found)


def _text(value: object) -> str | None:
    """A number as people write it; nothing of what has parts of its own."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.12g}"
    return str(value) if isinstance(value, str | int) else None


def _position(position: Any) -> Position:
    """Longitude, latitude, and perhaps a height (RFC 7946, 3.1.1)."""
    longitude, latitude = position[0], position[1]
    if isinstance(longitude, str | bool) or isinstance(latitude, str | bool):
        raise TypeError(position)
    return float(latitude), float(longitude)
