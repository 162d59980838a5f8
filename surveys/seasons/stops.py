"""Stops with the highest call index heard there, for the map of a season."""

from collections.abc import Iterable
from dataclasses import dataclass

from surveys.models import (
    Program,
    Route,
    Species,
)
from surveys.seasons.query import fetch

# A stop that nobody listened to in these years comes too, with no index.
# Without a species, any counted period is listening; with one, the rules of
# a zero hold (see route_years).
STOPS = """
WITH listening AS (
    SELECT p.stop_id, max(c.index) AS best, count(DISTINCT p.id) AS periods
    FROM surveys_visit v
    JOIN surveys_listeningperiod p ON p.visit_id = v.id AND p.counts_in_trends
    LEFT JOIN surveys_checklistentry e
           ON e.program_id = %(program)s AND e.species_id = %(species)s
          AND (e.listed_from IS NULL OR v.night >= e.listed_from)
          AND (e.listed_until IS NULL OR v.night <= e.listed_until)
    LEFT JOIN surveys_callindex c
           ON c.period_id = p.id
          AND (c.species_id = %(species)s OR (%(species)s::bigint IS NULL AND c.counts_in_trends))
    WHERE v.counts_in_trends
      AND v.route_id = ANY(%(routes)s)
      AND v.season_year BETWEEN %(first_year)s AND %(last_year)s
      AND (%(species)s::bigint IS NULL
           OR c.counts_in_trends
           OR (c.id IS NULL AND e.id IS NOT NULL))
    GROUP BY p.stop_id
)
SELECT s.route_id, s.number, s.name,
       ST_Y(s.place::geometry) AS latitude,
       ST_X(s.place::geometry) AS longitude,
       coalesce(l.periods, 0) AS periods,
       CASE WHEN l.stop_id IS NOT NULL THEN coalesce(l.best, 0) END AS highest_index
FROM surveys_stop s
LEFT JOIN listening l ON l.stop_id = s.id
WHERE s.route_id = ANY(%(routes)s)
  AND (l.stop_id IS NOT NULL OR s.active_until IS NULL)
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
        STOPS,
        {
            "program": program.pk,
            "species": species.pk if species else None,
            "routes": [route.pk for route in routes if route.program_id == program.pk],
            "first_year": first_year,
            "last_year": last_year,
        },
    )
    return [StopHeard(**row._asdict()) for row in rows]
