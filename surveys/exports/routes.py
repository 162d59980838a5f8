"""Live records of routes, with places and names as they may be shared."""

from __future__ import annotations

from typing import Any

from surveys.exports.records import places_of
from surveys.models import Program
from surveys.publishing.places import SharedPlace
from surveys.publishing.routeplaces import route_middle, with_reach
from surveys.publishing.stops import named_routes


def route_records(program: Program, *, exact: bool) -> list[dict[str, Any]]:
    """Every route of the program by code; `exact` asks for places and names as they are."""
    places = places_of(program, exact=exact)
    named = named_routes((stop for stop, _ in places), exact=exact)
    of_route: dict[str, list[SharedPlace]] = {}
    for stop, place in places:
        of_route.setdefault(stop.row.route, []).append(place)
    rows = []
    for route in program.routes.select_related("protocol").order_by("code"):
        stops = of_route.get(route.code, [])
        latitude, longitude = route_middle(stops)
        row = {
            "route": route.code,
            "name": route.name if route.code in named else "",
            "region": route.region,
            "stratum": route.stratum,
            "protocol": route.protocol.name,
            "chosen": route.chosen,
            "active": route.active,
            "stops": len(stops),
            "latitude": latitude,
            "longitude": longitude,
        }
        rows.append(with_reach(row, [_as_row(place) for place in stops]))
    return rows


def _as_row(place: SharedPlace) -> dict[str, Any]:
    return {
        "latitude": place.latitude,
        "longitude": place.longitude,
        "coordinate_uncertainty_m": place.uncertainty_m,
        "data_generalizations": place.generalizations,
        "information_withheld": place.withheld,
    }
