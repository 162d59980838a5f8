"""GeoJSON for maps of calls, with exact places: only for pages that members see."""

from collections.abc import Iterable
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse

from surveys.language import gettext, said
from surveys.models import (
    Program,
    Route,
    Visit,
)
from surveys.seasons.stops import StopHeard
from surveys.seasons.visits import (
    NOT_REACHED,
    SKIPPED,
    GridRow,
    VisitGrid,
)
from surveys.web.maps import (
    route_map,
    stop_feature,
)

LINE = "LineString"


def season_map(
    program: Program, routes: Iterable[Route], stops: Iterable[StopHeard]
) -> dict[str, Any]:
    """Every route with its stops; each stop has its highest index and a link to the visits."""
    visits = reverse("web:season_visits", kwargs={"program": program.slug})
    by_route: dict[int, list[StopHeard]] = {}
    for stop in stops:
        by_route.setdefault(stop.route_id, []).append(stop)
    features: list[dict[str, Any]] = []
    for route in routes:
        route_stops = by_route.get(route.pk, [])
        places = [[stop.longitude, stop.latitude] for stop in route_stops]
        line = [list(point) for point in route.line.coords] if route.line else places
        if len(line) > 1:
            features.append(_feature(LINE, line, kind="route", name=str(route)))
        url = f"{visits}?{urlencode({'route': route.code})}"
        if places:
            features.append(_route_marker(route, route_stops, places, url))
        features.extend(
            _feature(
                "Point",
                place,
                kind="stop",
                number=stop.number,
                name=stop.name,
                index=NOT_REACHED if stop.highest_index is None else stop.highest_index,
                lines=[str(route), _listened(stop.periods)],
                url=url,
                link=gettext("Visits to this route"),
            )
            for stop, place in zip(route_stops, places, strict=True)
        )
    # Lines first, so that stops are drawn on top.
    features.sort(key=lambda feature: feature["geometry"]["type"] != LINE)
    return {"type": "FeatureCollection", "features": features}


def _route_marker(
    route: Route, stops: list[StopHeard], places: list[list[float]], url: str
) -> dict[str, Any]:
    """One marker for the whole route, for a scale at which its stops cannot be told apart.

    It is placed at the middle stop, or at the nearest stop whose place is still free.
    """
    middle = len(places) // 2
    by_middle = sorted(range(len(places)), key=lambda number: abs(number - middle))
    indexes = [stop.highest_index for stop in stops if stop.highest_index is not None]
    heard = sum(index > 0 for index in indexes)
    return _feature(
        "Point",
        places[middle],
        kind="route",
        name=str(route),
        places=[places[number] for number in by_middle],
        index=max(indexes, default=NOT_REACHED),
        lines=[
            said("Calls at {heard} of {indexes} stops", heard=heard, indexes=len(indexes)),
            gettext("Zoom in to see the stops."),
        ],
        url=url,
        link=gettext("Visits to this route"),
    )


def visit_map(visit: Visit, grid: VisitGrid) -> dict[str, Any]:
    """The stops of one visit, each with what was heard there."""
    collection = route_map(visit.route, [row.stop for row in grid.rows])
    lines = [f for f in collection["features"] if f["geometry"]["type"] == LINE]
    stops = [stop_feature(row.stop, **_heard(row, grid)) for row in grid.rows]
    return {"type": "FeatureCollection", "features": [*lines, *stops]}


def _heard(row: GridRow, grid: VisitGrid) -> dict[str, Any]:
    if not row.listened:
        words = gettext("Skipped") if row.period else gettext("Not reached")
        reason = row.period.skip_reason if row.period else ""
        return {"index": NOT_REACHED, "lines": [f"{words}: {reason}" if reason else words]}
    heard = [
        (cell.value, species.name)
        for species, cell in zip(grid.species, row.cells, strict=True)
        if cell.value not in (None, 0, NOT_REACHED, SKIPPED)
    ]
    sure = [value for value, _ in heard if isinstance(value, int)]
    not_sure = gettext("not sure, or not recorded")
    lines = [f"{name}: {value if isinstance(value, int) else not_sure}" for value, name in heard]
    return {"index": max(sure, default=0), "lines": lines or [gettext("Nothing heard")]}


def _listened(periods: int) -> str:
    if periods == 0:
        return gettext("Not surveyed in these seasons")
    return (
        gettext("Surveyed once")
        if periods == 1
        else said("Surveyed {periods} times", periods=periods)
    )


def _feature(geometry: str, coordinates: list, **properties: Any) -> dict[str, Any]:
    return {
        "type": "Feature",
        "geometry": {"type": geometry, "coordinates": coordinates},
        "properties": properties,
    }
