"""Stops with the highest call index heard there, for the map of a season."""

from collections.abc import Iterable
from dataclasses import dataclass

from surveys.models import (
    Program,
    Route,
    Species,
)
from surveys.seasons.listening import (
    ALL_SPECIES,
    ONE_SPECIES,
)
from surveys.seasons.query import fetch

# A stop that nobody listened to in these years comes too, with no index, unless it is closed.
_BY_STOP = """, effort AS (
    SELECT stop_id, count(*) AS periods
    FROM listened
    GROUP BY stop_id
), detections AS (
    SELECT stop_id, max(call_index) AS highest_index
    FROM heard
    GROUP BY stop_id
)
SELECT s.route_id, s.number, s.name,
       ST_Y(s.place::geometry) AS latitude,
       ST_X(s.place::geometry) AS longitude,
       coalesce(e.periods, 0) AS periods,
       CASE WHEN e.stop_id IS NOT NULL THEN coalesce(d.highest_index, 0) END AS highest_index
FROM surveys_stop s
LEFT JOIN effort e ON e.stop_id = s.id
LEFT JOIN detections d ON d.stop_id = s.id
WHERE s.route_id = ANY(%(routes)s)
  AND (e.stop_id IS NOT NULL OR s.active_until IS NULL)
ORDER BY s.route_id, s.number, s.active_from
"""


@dataclass(frozen=True, kw_only=True)
class StopHeard:
    """One stop over some season years. `highest_index` None: not listened to."""

    route_id: int
    number: int
    name: str
    latitude: float
    longitude: float
    periods: int
    highest_index: int | None


def stops_heard(
    program: Program,
    routes: Iterable[Route],
    *,
    species: Species | None = None,
    first_year: int,
    last_year: int,
) -> list[StopHeard]:
    """Stops of some routes of the program in driving order, route by route."""
    rows = fetch(
        (ALL_SPECIES if species is None else ONE_SPECIES) + _BY_STOP,
        {
            "program": program.pk,
            "species": species.pk if species else None,
            "routes": [route.pk for route in routes if route.program_id == program.pk],
            "first_year": first_year,
            "last_year": last_year,
        },
    )
    return [StopHeard(**row._asdict()) for row in rows]
