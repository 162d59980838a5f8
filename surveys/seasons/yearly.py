"""The yearly table of a program, added up in the database from the counts of its routes.

A row stands for what was listened for: a listening period enters a species' row
only when the species was on the checklist that night. A species written down off
the checklist has no zeros beside it, so its share of stops would mean nothing.
"""

from surveys.models import (
    Program,
    Species,
)
from surveys.seasons.joint_entries import told_in_groups
from surveys.seasons.query import fetch
from surveys.seasons.year_counts import counts_statement, stale_counts
from surveys.trends.joint_entries import mark_row
from surveys.trends.table import (
    YearCounts,
    YearRow,
    year_row,
)

_YEARLY = """
WITH counts AS ({counts})
SELECT s.scientific_name AS species,
       c.season_year,
       count(*) AS routes,
       sum(c.stops)::bigint AS stops,
       sum(c.visits)::bigint AS visits,
       sum(c.periods)::bigint AS periods,
       sum(c.stops_at_1 + c.stops_at_2 + c.stops_at_3)::bigint AS stops_detected,
       ARRAY[sum(c.stops_at_1), sum(c.stops_at_2), sum(c.stops_at_3)]::bigint[] AS stops_at_index,
       min(c.first_night) AS first_night,
       max(c.last_night) AS last_night
FROM counts c
JOIN surveys_species s ON s.id = c.species_id
GROUP BY s.scientific_name, c.species_id, c.season_year
ORDER BY s.scientific_name COLLATE "C", c.species_id, c.season_year
"""


def yearly_table(
    program: Program,
    *,
    species: Species | None = None,
    region: str | None = None,
    first_year: int | None = None,
    last_year: int | None = None,
) -> list[YearRow]:
    """One row a species and season year with effort, in order of species and year."""
    rows = fetch(*yearly_query(program, species, region, first_year, last_year))
    told = told_in_groups(program, last_year=last_year)
    table = (
        year_row(YearCounts(**{**row._asdict(), "stops_at_index": tuple(row.stops_at_index)}))
        for row in rows
    )
    return [mark_row(row, told) for row in table]


def yearly_query(
    program: Program,
    species: Species | None = None,
    region: str | None = None,
    first_year: int | None = None,
    last_year: int | None = None,
) -> tuple[str, dict[str, object]]:
    """The statement and its parameters; from the calls where they have not been counted."""
    stale = stale_counts(program.pk)
    return _YEARLY.format(counts=counts_statement(stale)), {
        "program": program.pk,
        "species": species.pk if species else None,
        "region": region or None,
        "first_year": first_year,
        "last_year": last_year,
        "routes": stale.routes,
        "years": stale.years,
    }
