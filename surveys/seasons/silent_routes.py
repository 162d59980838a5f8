"""Routes that fell silent: nothing was heard in a window this season, and always before."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from surveys.models import Program
from surveys.seasons.query import fetch

# Seasons looked back at, and how many of them must have been surveyed.
SEASONS_BACK = 5
FEWEST_SEASONS = 2

_HEARD = """
SELECT v.route_id, v.route_code AS code, r.name, v."window", v.season_year,
       coalesce(sum(h.calls), 0)::int AS calls
FROM counted_visit v
JOIN surveys_route r ON r.id = v.route_id
LEFT JOIN LATERAL (
    SELECT count(*) AS calls
    FROM counted_written w
    WHERE w.visit_id = v.id AND w.call_index IS NOT NULL
) h ON true
WHERE v.program_id = %(program)s
  AND v.season_year BETWEEN %(first_year)s AND %(last_year)s
GROUP BY v.route_id, v.route_code, r.name, v."window", v.season_year
ORDER BY v.route_code, v.season_year
"""


@dataclass(frozen=True, kw_only=True)
class SilentRoute:
    """`heard_in` are the earlier seasons in which the window was surveyed."""

    code: str
    name: str
    window: str
    heard_in: tuple[int, ...]


def silent_routes(program: Program, season_year: int) -> list[SilentRoute]:
    """Windows are told apart, because an early visit to a route with late callers is silent every
    year. Only visits that count are looked at."""
    calls: dict[tuple[str, str, str], dict[int, int]] = defaultdict(dict)
    facts = {
        "program": program.pk,
        "first_year": season_year - SEASONS_BACK,
        "last_year": season_year,
    }
    for row in fetch(_HEARD, facts):
        calls[row.code, row.name, row.window][row.season_year] = row.calls
    silent = []
    for (code, name, window), of_year in calls.items():
        now = of_year.pop(season_year, None)
        if now == 0 and len(of_year) >= FEWEST_SEASONS and all(of_year.values()):
            silent.append(
                SilentRoute(code=code, name=name, window=window, heard_in=tuple(sorted(of_year)))
            )
    return silent
