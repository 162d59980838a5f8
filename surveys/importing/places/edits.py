"""Changes of a draft: one route with its stops, or all coordinates of the file at once."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.http import Http404

from surveys.importing.places.drafts import Draft, proposed_stop
from surveys.importing.places.found import storable
from surveys.language import gettext
from surveys.programs.places import read_coordinate
from surveys.programs.stop_proposals import propose
from surveys.protocol.values import Place

ROUTE_TEXTS = ("code", "name", "region", "stratum")
STOP_TEXTS = ("number", "name", "latitude", "longitude", "road", "county")


def route_at(draft: Draft, position: int) -> dict[str, Any]:
    """Raises Http404."""
    if not 0 <= position < len(draft):
        raise Http404(gettext("There is no such route in this import."))
    return draft[position]


def change_route(
    position: int, texts: Mapping[str, str], stops: Mapping[int, Mapping[str, Any]]
) -> Callable[[Draft], None]:
    """Texts of the route, and of its stops by their position: only those that are given."""

    def change(draft: Draft) -> None:
        route = route_at(draft, position)
        route |= _kept(texts, ROUTE_TEXTS)
        for number, given in stops.items():
            if 0 <= number < len(route["stops"]):
                route["stops"][number] |= _kept(given, STOP_TEXTS)

    return change


def _kept(given: Mapping[str, Any], names: Sequence[str]) -> dict[str, Any]:
    kept: dict[str, Any] = {name: storable(given[name]) for name in names if name in given}
    if "left_out" in given:
        kept["left_out"] = bool(given["left_out"])
    return kept


def leave_out(positions: Sequence[int]) -> Callable[[Draft], None]:
    """Skip these routes."""

    def change(draft: Draft) -> None:
        for position in positions:
            route_at(draft, position)["left_out"] = True

    return change


def propose_stops(spacing: float, most: int) -> Callable[[Draft], None]:
    """Fill routes that have a line and no stops."""

    def change(draft: Draft) -> None:
        for route in draft:
            if route["line"] and not route["stops"] and not route["left_out"]:
                line = [Place(latitude=lat, longitude=lon) for lat, lon in route["line"]]
                places = propose(line, spacing=spacing, most=most)
                route["stops"] = [
                    proposed_stop(number, place) for number, place in enumerate(places, start=1)
                ]

    return change


def turn_longitudes(draft: Draft) -> None:
    """West for east, and east for west; lines too."""
    _turn(draft, "longitude", 1)


def turn_latitudes(draft: Draft) -> None:
    """South for north, and north for south; lines too."""
    _turn(draft, "latitude", 0)


def _turn(draft: Draft, name: str, place: int) -> None:
    for route in draft:
        for stop in route["stops"]:
            stop[name] = _negative(stop[name], name)
        for point in route["line"] or ():
            point[place] = -point[place]


def _negative(text: str, name: str) -> str:
    try:
        return f"{-read_coordinate(text, name):.7f}"
    except ValidationError:
        return text


def swap(draft: Draft) -> None:
    """Latitudes for longitudes. Lines stay where they would leave the globe."""
    for route in draft:
        for stop in route["stops"]:
            stop["latitude"], stop["longitude"] = stop["longitude"], stop["latitude"]
        line = route["line"] or ()
        if all(abs(longitude) <= 90 for _, longitude in line):
            for point in line:
                point.reverse()
