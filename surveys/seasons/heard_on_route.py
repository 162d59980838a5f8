"""What a route heard over the years: the highest call index of each species in each season."""

from collections import defaultdict
from dataclasses import dataclass

from surveys.models import Route, Species
from surveys.seasons.query import fetch

# What fits beside the names.
MOST_YEARS = 10

_HIGHEST = """
SELECT species_id, season_year, max(call_index) AS highest
FROM counted_call
WHERE program_id = %(program)s
  AND route_id = %(route)s
  AND call_index IS NOT NULL
  AND season_year > (
      SELECT max(season_year) - %(years)s FROM counted_visit
      WHERE program_id = %(program)s AND route_id = %(route)s
  )
GROUP BY species_id, season_year
"""


@dataclass(frozen=True, kw_only=True)
class HeardOnRoute:
    """`years` are the latest with a visit that counts and those between, latest first. Each of
    `rows` is a species that was heard in one of them, with its highest call index in each: 0 where
    it was listened for and not heard, None where nobody listened for it."""

    years: tuple[int, ...]
    rows: tuple[tuple[Species, tuple[int | None, ...]], ...]


def heard_on(route: Route) -> HeardOnRoute:
    """From accepted visits; the species that were heard in most years first."""
    found = fetch(_HIGHEST, {"program": route.program_id, "route": route.pk, "years": MOST_YEARS})
    highest: dict[int, dict[int, int]] = defaultdict(dict)
    for row in found:
        highest[row.species_id][row.season_year] = row.highest
    surveyed = {row.season_year for row in found}
    years = tuple(range(max(surveyed), min(surveyed) - 1, -1)) if surveyed else ()
    heard = [key for key, by_year in highest.items() if any(by_year.values())]
    rows = [
        (one, tuple(highest[one.pk].get(year) for year in years))
        for one in Species.objects.filter(pk__in=heard).order_by("common_name")
    ]
    rows.sort(key=lambda row: -sum(bool(index) for index in row[1]))
    return HeardOnRoute(years=years, rows=tuple(rows))
