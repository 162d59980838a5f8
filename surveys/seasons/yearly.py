"""The yearly table of a program, added up in the database.

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
from surveys.trends.joint_entries import mark_row
from surveys.trends.table import (
    YearCounts,
    YearRow,
    year_row,
)

# From the calls that count, silences included:
#   listening    one row a species and period; a period at which the species is missing is none
#   stops        one row a species, season year and stop, with its highest index
#   visits       one row a species, season year and visit
YEARLY = """
WITH listening AS MATERIALIZED (
    SELECT species_id, season_year, stop_id, visit_id, route_id, night, call_index
    FROM counted_call
    WHERE program_id = %(program)s
      AND call_index IS NOT NULL
      AND (%(species)s::bigint IS NULL OR species_id = %(species)s)
      AND (%(region)s::text IS NULL OR region = %(region)s)
      AND (%(first_year)s::int IS NULL OR season_year >= %(first_year)s)
      AND (%(last_year)s::int IS NULL OR season_year <= %(last_year)s)
), stops AS (
    SELECT species_id, season_year, stop_id,
           count(*) AS periods,
           max(call_index) AS highest_index,
           min(night) FILTER (WHERE call_index >= 1) AS first_night,
           max(night) FILTER (WHERE call_index >= 1) AS last_night
    FROM listening
    GROUP BY species_id, season_year, stop_id
), stop_counts AS (
    SELECT species_id, season_year,
           count(*) AS stops,
           sum(periods)::bigint AS periods,
           count(*) FILTER (WHERE highest_index >= 1) AS stops_detected,
           ARRAY[count(*) FILTER (WHERE highest_index = 1),
                 count(*) FILTER (WHERE highest_index = 2),
                 count(*) FILTER (WHERE highest_index = 3)] AS stops_at_index,
           min(first_night) AS first_night,
           max(last_night) AS last_night
    FROM stops
    GROUP BY species_id, season_year
), visits AS (
    SELECT species_id, season_year, route_id, visit_id
    FROM listening
    GROUP BY species_id, season_year, route_id, visit_id
), visit_counts AS (
    SELECT species_id, season_year, count(*) AS visits, count(DISTINCT route_id) AS routes
    FROM visits
    GROUP BY species_id, season_year
)
SELECT s.scientific_name AS species, n.season_year, w.routes, n.stops, w.visits, n.periods,
       n.stops_detected, n.stops_at_index, n.first_night, n.last_night
FROM stop_counts n
JOIN visit_counts w USING (species_id, season_year)
JOIN surveys_species s ON s.id = n.species_id
ORDER BY s.scientific_name COLLATE "C", n.species_id, n.season_year
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
    rows = fetch(
        YEARLY,
        {
            "program": program.pk,
            "species": species.pk if species else None,
            "region": region or None,
            "first_year": first_year,
            "last_year": last_year,
        },
    )
    told = told_in_groups(program, last_year=last_year)
    table = (
        year_row(YearCounts(**{**row._asdict(), "stops_at_index": tuple(row.stops_at_index)}))
        for row in rows
    )
    return [mark_row(row, told) for row in table]
