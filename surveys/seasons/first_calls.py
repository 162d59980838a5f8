"""The first night of the season on which each species was heard, beside earlier seasons."""

from __future__ import annotations

import datetime as dt
import statistics
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from surveys.models import Program, Species
from surveys.seasons.options import checklist_species
from surveys.seasons.query import fetch

SEASONS_BACK = 10
# Of fewer earlier seasons nothing is said.
FEWEST_SEASONS = 3

_FIRST_NIGHTS = """
SELECT w.species_id, w.season_year, min(w.night) AS night
FROM counted_written w
WHERE w.program_id = %(program)s
  AND w.listed
  AND w.call_index IS NOT NULL
  AND w.season_year BETWEEN %(first_year)s AND %(last_year)s
GROUP BY w.species_id, w.season_year
"""


@dataclass(frozen=True, kw_only=True)
class FirstCall:
    """`night` None: not heard yet. `usual` is the median of the earlier seasons, moved to this
    one; `days_later` than that, below 0 earlier; None where too few seasons tell."""

    species: Species
    night: dt.date | None
    usual: dt.date | None
    seasons: int

    @property
    def days_later(self) -> int | None:
        return (self.night - self.usual).days if self.night and self.usual else None


def first_calls(program: Program, season_year: int) -> list[FirstCall]:
    """Every species of the checklist that was heard this season or is known from earlier ones, in
    the order of the checklist. Only visits that count are looked at."""
    nights: dict[int, dict[int, dt.date]] = defaultdict(dict)
    facts = {
        "program": program.pk,
        "first_year": season_year - SEASONS_BACK,
        "last_year": season_year,
    }
    for row in fetch(_FIRST_NIGHTS, facts):
        nights[row.species_id][row.season_year] = row.night
    return [
        _compared(species, nights[species.pk], season_year)
        for species in checklist_species(program)
        if species.pk in nights
    ]


def _compared(species: Species, nights: Mapping[int, dt.date], season_year: int) -> FirstCall:
    earlier = [
        in_season(night, of_season=year, moved_to=season_year).toordinal()
        for year, night in nights.items()
        if year != season_year
    ]
    enough = len(earlier) >= FEWEST_SEASONS
    return FirstCall(
        species=species,
        night=nights.get(season_year),
        usual=dt.date.fromordinal(statistics.median_low(earlier)) if enough else None,
        seasons=len(earlier),
    )


def in_season(night: dt.date, *, of_season: int, moved_to: int) -> dt.date:
    """The same day of another season; a 29 February becomes 1 March where there is none."""
    year = night.year + moved_to - of_season
    return dt.date(year, night.month, 1) + dt.timedelta(days=night.day - 1)
