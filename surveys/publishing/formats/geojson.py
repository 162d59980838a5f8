"""Places and yearly results as GeoJSON (RFC 7946), for web maps and small scripts."""

import datetime as dt
import json
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from surveys.protocol.values import Place
from surveys.publishing.formats.layers import (
    Layer,
    Row,
    layers,
)
from surveys.publishing.frozen import Frozen

MEDIA_TYPE = "application/geo+json"
# About a centimeter. RFC 7946, 11.2: digits beyond what is known cost space and mean nothing.
DECIMALS = 7


def write(frozen: Frozen, target: Path) -> None:
    """`places.geojson`: a feature a route, with what was heard on it in each year, and a feature
    a stop. A withheld place has a null geometry (RFC 7946, 3.2)."""
    about = frozen.about
    routes, stops, years = layers(frozen)
    head: dict[str, Any] = {
        "type": "FeatureCollection",
        "title": about.title,
        "citation": about.citation,
        "license": about.license,
        "url": about.url,
    }
    box = bounding_box([place for layer in (routes, stops) for place in layer.places if place])
    if box:
        head["bbox"] = box
    with target.open("w", encoding="utf-8", newline="\n") as file:
        file.write(_text(head)[:-1] + ', "features": [')
        separator = "\n"
        for feature in _features(routes, stops, years):
            file.write(separator + _text(feature))
            separator = ",\n"
        file.write("\n]}\n")


def bounding_box(places: Sequence[Place]) -> list[float]:
    """West, south, east, north of the narrowest box around places; empty when there are none.

    West is greater than east where the box crosses the antimeridian (RFC 7946, 5.2).
    """
    if not places:
        return []
    latitudes = [place.latitude for place in places]
    longitudes = sorted({place.longitude for place in places})
    around = [*longitudes, longitudes[0] + 360]
    widest = max(range(len(longitudes)), key=lambda at: around[at + 1] - around[at])
    west, east = longitudes[(widest + 1) % len(longitudes)], longitudes[widest]
    return [_rounded(degrees) for degrees in (west, min(latitudes), east, max(latitudes))]


def _features(routes: Layer, stops: Layer, years: Layer) -> Iterator[dict[str, Any]]:
    heard: dict[Any, list[Row]] = {row["route"]: [] for row in routes.rows}
    for row in years.rows:
        heard[row["route"]].append({name: row[name] for name in row if name != "route"})
    for row, place in zip(routes.rows, routes.places, strict=True):
        yield _feature("route", row, place, {"yearly": heard[row["route"]]})
    for row, place in zip(stops.rows, stops.places, strict=True):
        yield _feature("stop", row, place, {})


def _feature(
    kind: str, row: Row, place: Place | None, more: Mapping[str, object]
) -> dict[str, Any]:
    point = place and {
        "type": "Point",
        "coordinates": [_rounded(place.longitude), _rounded(place.latitude)],
    }
    return {
        "type": "Feature",
        "id": f"{kind}:{row[kind]}",
        "geometry": point,
        "properties": {"kind": kind, **row, **more},
    }


def _rounded(degrees: float) -> float:
    return round(degrees, DECIMALS)


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, default=dt.date.isoformat)
