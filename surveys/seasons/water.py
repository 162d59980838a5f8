"""The water that visits saw at stops."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from surveys.models import Program, Visit
from surveys.seasons.query import fetch
from surveys.trends.periods import WATER
from surveys.trends.water import WaterYear, years_of_looks

_LOOKS = """
SELECT stop_id, season_year, night, water_tonight
FROM counted_period
WHERE program_id = %(program)s
  AND season_year BETWEEN %(first_year)s AND %(last_year)s
  AND (%(routes)s::bigint[] IS NULL OR route_id = ANY(%(routes)s))
  AND water_tonight = ANY(%(seen)s)
"""
# A visit under review does not count yet, and is shown with the looks before it.
_OF_VISIT = """
UNION
SELECT p.stop_id, v.season_year, v.night, p.water_tonight
FROM surveys_visit v
JOIN surveys_listeningperiod p ON p.visit_id = v.id
JOIN surveys_route r ON r.id = v.route_id
WHERE v.id = %(visit)s AND r.program_id = %(program)s AND p.water_tonight = ANY(%(seen)s)
"""
_ALL_YEARS = (0, 9999)


def water_seen(
    program: Program,
    *,
    routes: Iterable[int] | None = None,
    first_year: int | None = None,
    last_year: int | None = None,
) -> Iterator[WaterYear]:
    """The water of each stop and season year, from visits that count."""
    return _years(
        fetch(
            _LOOKS,
            {
                "program": program.pk,
                "routes": None if routes is None else list(routes),
                "first_year": first_year or _ALL_YEARS[0],
                "last_year": last_year or _ALL_YEARS[1],
                "seen": list(WATER),
            },
        )
    )


def water_with(visit: Visit) -> Iterator[WaterYear]:
    """The water of each stop in the season year of a visit, with what the visit itself saw."""
    return _years(
        fetch(
            _LOOKS + _OF_VISIT,
            {
                "program": visit.route.program_id,
                "routes": [visit.route_id],
                "first_year": visit.season_year,
                "last_year": visit.season_year,
                "visit": visit.pk,
                "seen": list(WATER),
            },
        )
    )


def _years(rows: Iterable[Any]) -> Iterator[WaterYear]:
    looks = (
        (row.stop_id, row.season_year, row.night.toordinal(), WATER[row.water_tonight])
        for row in rows
    )
    return years_of_looks(sorted(looks))
