"""GeoJSON for maps, with exact places: only for pages that members see."""

from collections.abc import Iterable
from typing import Any

from surveys.models import (
    ProgramArea,
    Route,
    Stop,
)


def route_map(route: Route, stops: Iterable[Stop]) -> dict[str, Any]:
    """The line and the numbered stops of a route as a FeatureCollection."""
    features = [stop_feature(stop) for stop in stops]
    points = [feature["geometry"]["coordinates"] for feature in features]
    line = [list(point) for point in route.line.coords] if route.line else points
    if len(line) > 1:
        features.insert(
            0,
            {
                "type": "Feature",
                "geometry": {"type": "LineString", "coordinates": line},
                "properties": {"kind": "route", "name": str(route)},
            },
        )
    return {"type": "FeatureCollection", "features": features}


def area_feature(area: ProgramArea) -> dict[str, Any]:
    """The area of a program. Maps draw it below everything else."""
    coordinates = area.outline.coords
    return {
        "type": "Feature",
        "geometry": {"type": "MultiPolygon", "coordinates": coordinates},
        "properties": {"kind": "area"},
    }


def stop_feature(stop: Stop, **properties: Any) -> dict[str, Any]:
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [stop.place.x, stop.place.y]},
        "properties": {"kind": "stop", "number": stop.number, "name": stop.name, **properties},
    }
