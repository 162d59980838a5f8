"""A map of the routes from their places as given: no tiles, no network, with a scale bar."""

from __future__ import annotations

import html
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from surveys.language import gettext, said, said_of
from surveys.protocol.words import number
from surveys.publishing.frozen import Frozen

WIDTH, HEIGHT = 330.0, 250.0
_EDGE = 16.0
_FOOT = 24.0
_SMALLEST = 3.0
# WGS 84 at the middle latitudes; a map of this size does not show the difference.
_KM_PER_DEGREE = 111.2
_KM_PER_MILE = 1.609344
# Narrower than this, a program of one stop would fill the map.
_LEAST_KM = 4.0
_GROUND, _INK, _SHEET, _LINE = "#eef1ec", "#2f2c5c", "#ffffff", "#8b949c"
_CELL, _EDGES = "#bcbad2", "#6c6a94"
_FONT = "DejaVu Sans, sans-serif"


@dataclass(frozen=True, kw_only=True)
class RouteMap:
    """The picture, what it says in words, and what does not stand on it."""

    svg: str
    alt: str
    not_drawn: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class _Scale:
    """From degrees to the points of the picture; `size` points are a kilometer."""

    west: float
    north: float
    squeeze: float
    size: float
    left: float
    top: float

    def at(self, latitude: float, longitude: float) -> tuple[float, float]:
        x = (longitude - self.west) * self.squeeze * _KM_PER_DEGREE * self.size
        y = (self.north - latitude) * _KM_PER_DEGREE * self.size
        return self.left + x, self.top + y


def route_map(frozen: Frozen) -> RouteMap | None:
    """The routes whose stops have coordinates; None where no stop has."""
    routes: dict[str, list[Mapping[str, Any]]] = {}
    for stop in frozen.records("stops"):
        routes.setdefault(stop["route"], []).append(stop)
    drawn = {
        route: known
        for route, stops in routes.items()
        if (known := [stop for stop in stops if stop["latitude"] is not None])
    }
    if not drawn:
        return None
    stops = [stop for known in drawn.values() for stop in known]
    scale = _scale(stops)
    parts = [
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{_GROUND}"/>',
        *dict.fromkeys(_stop(stop, scale) for stop in stops),
        *_labels(drawn, scale),
        *_scale_bar(scale),
    ]
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" '
        f'viewBox="0 0 {WIDTH} {HEIGHT}">{"".join(parts)}</svg>'
    )
    return RouteMap(
        svg=svg,
        alt=_alt(drawn, stops),
        not_drawn=tuple(route for route in routes if route not in drawn),
    )


def _scale(stops: Sequence[Mapping[str, Any]]) -> _Scale:
    reach = max(stop["grid_degrees"] or 0.0 for stop in stops) / 2
    north = max(stop["latitude"] for stop in stops) + reach
    south = min(stop["latitude"] for stop in stops) - reach
    east = max(stop["longitude"] for stop in stops) + reach
    west = min(stop["longitude"] for stop in stops) - reach
    squeeze = max(math.cos(math.radians((north + south) / 2)), 0.01)
    wide = max((east - west) * squeeze * _KM_PER_DEGREE, _LEAST_KM)
    tall = max((north - south) * _KM_PER_DEGREE, _LEAST_KM)
    room_x, room_y = WIDTH - 2 * _EDGE, HEIGHT - _EDGE - _FOOT - 6
    size = min(room_x / wide, room_y / tall)
    return _Scale(
        west=west,
        north=north,
        squeeze=squeeze,
        size=size,
        left=(WIDTH - (east - west) * squeeze * _KM_PER_DEGREE * size) / 2,
        top=_EDGE + (room_y - (north - south) * _KM_PER_DEGREE * size) / 2,
    )


def _stop(stop: Mapping[str, Any], scale: _Scale) -> str:
    """The whole grid cell of a stop, as large as the map allows to see; a dot where exact."""
    x, y = scale.at(stop["latitude"], stop["longitude"])
    grid = stop["grid_degrees"]
    if grid is None:
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="1.8" fill="{_INK}"/>'
    tall = max(grid * _KM_PER_DEGREE * scale.size, _SMALLEST)
    wide = max(tall * scale.squeeze, _SMALLEST)
    return (
        f'<rect x="{x - wide / 2:.1f}" y="{y - tall / 2:.1f}" width="{wide:.1f}" '
        f'height="{tall:.1f}" fill="{_CELL}" stroke="{_EDGES}" stroke-width="0.5"/>'
    )


def _labels(drawn: Mapping[str, Sequence[Mapping[str, Any]]], scale: _Scale) -> list[str]:
    """Codes of the routes above their middles, moved down where they would lie on another."""
    occupied: list[tuple[float, float]] = []
    parts = []
    for route, stops in drawn.items():
        x, y = scale.at(
            sum(stop["latitude"] for stop in stops) / len(stops),
            sum(stop["longitude"] for stop in stops) / len(stops),
        )
        half = 2.9 * len(route) + 1
        x = min(max(x, half), WIDTH - half)
        y = max(y - 6, 9.0)
        while any(abs(x - a) < 2 * half and abs(y - b) < 10 for a, b in occupied):
            y += 10
        occupied.append((x, y))
        parts += [
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="middle" font-size="8.5" '
            f'font-weight="bold" font-family="{_FONT}" {paint}>{html.escape(route)}</text>'
            for paint in (f'fill="none" stroke="{_SHEET}" stroke-width="2.4"', f'fill="{_INK}"')
        ]
    return parts


def _scale_bar(scale: _Scale) -> list[str]:
    kilometers = _round_length(WIDTH / 3.5 / scale.size)
    length = kilometers * scale.size
    left, y = _EDGE, HEIGHT - 12
    words = said(
        "{kilometers} km ({miles} mi)",
        kilometers=number(f"{kilometers:g}"),
        miles=number(f"{kilometers / _KM_PER_MILE:.2g}"),
    )
    north = html.escape(gettext("North is up"))
    style = f'font-size="8" font-family="{_FONT}" fill="{_INK}"'
    bar = f"M{left},{y - 4}V{y}H{left + length:.1f}V{y - 4}"
    return [
        f'<path d="{bar}" fill="none" stroke="{_INK}" stroke-width="1.2"/>',
        f'<text x="{left + length + 6:.1f}" y="{y + 1}" {style}>{words}</text>',
        f'<text x="{WIDTH - _EDGE}" y="{y + 1}" text-anchor="end" {style}>{north}</text>',
    ]


def _round_length(most: float) -> float:
    """The longest of 1, 2 and 5 times a power of ten that is not longer than `most`."""
    power: float = 10 ** math.floor(math.log10(most))
    return max(step * power for step in (1, 2, 5) if step * power <= most)


def _alt(
    drawn: Mapping[str, Sequence[Mapping[str, Any]]], stops: Sequence[Mapping[str, Any]]
) -> str:
    latitudes = [stop["latitude"] for stop in stops]
    longitudes = [stop["longitude"] for stop in stops]
    return said(
        "Map of {routes} with {stops}, from {south}° to {north}° of latitude and {west}° to "
        "{east}° of longitude. Routes: {names}.",
        routes=said_of("{number} route", "{number} routes", len(drawn)),
        stops=said_of("{number} stop", "{number} stops", len(stops)),
        south=number(f"{min(latitudes):.1f}"),
        north=number(f"{max(latitudes):.1f}"),
        west=number(f"{min(longitudes):.1f}"),
        east=number(f"{max(longitudes):.1f}"),
        names=gettext(", ").join(drawn),
    )
