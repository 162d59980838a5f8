"""The yearly table of a program, added up in the database.

A row stands for what was listened for: a listening period enters a species' row
only when the species was on the checklist that night. A species written down off
the checklist has no zeros beside it, so its share of stops would mean nothing.
"""

from surveys.models import (
    Program,
    Species,
)
from surveys.seasons.query import fetch
from surveys.trends.table import (
    YearCounts,
    YearRow,
    year_row,
)

# From the listening periods that count, crossed with the checklist of the night:
#   listening    one row a species and period, `index` null for a silence; periods at which
#                the species is missing (not sure, or left out by the coordinator) drop out
#   stops        one row a species, season year and stop, with its highest index
#   visits       one row a species, season year and visit
YEARLY = """
WITH periods AS MATERIALIZED (
    SELECT p.id AS period_id, p.stop_id, v.id AS visit_id, v.route_id, v.season_year, v.night
    FROM surveys_route r
    JOIN surveys_visit v ON v.route_id = r.id AND v.counts_in_trends
    JOIN surveys_listeningperiod p ON p.visit_id = v.id AND p.counts_in_trends
    WHERE r.program_id = %(program)s
      AND (%(region)s::text IS NULL OR r.region = %(region)s)
      AND (%(first_year)s::int IS NULL OR v.season_year >= %(first_year)s)
      AND (%(last_year)s::int IS NULL OR v.season_year <= %(last_year)s)
), listening AS MATERIALIZED (
    SELECT e.species_id, p.season_year, p.stop_id, p.visit_id, p.route_id, p.night, c.index
    FROM periods p
    JOIN surveys_checklistentry e
      ON e.program_id = %(program)s
     AND (%(species)s::bigint IS NULL OR e.species_id = %(species)s)
     AND (e.listed_from IS NULL OR p.night >= e.listed_from)
     AND (e.listed_until IS NULL OR p.night <= e.listed_until)
    LEFT JOIN surveys_callindex c
      ON c.period_id = p.period_id AND c.species_id = e.species_id
    WHERE c.id IS NULL OR c.counts_in_trends
), stops AS (
    SELECT species_id, season_year, stop_id,
           count(*) AS periods,
           max(index) AS best,
           min(night) FILTER (WHERE index >= 1) AS first_night,
           max(night) FILTER (WHERE index >= 1) AS last_night
    FROM listening
    GROUP BY species_id, season_year, stop_id
), stop_counts AS (
    SELECT species_id, season_year,
           count(*) AS stops,
           sum(periods)::bigint AS periods,
           count(best) AS stops_detected,
           count(*) FILTER (WHERE best = 1) AS stops_at_1,
           count(*) FILTER (WHERE best = 2) AS stops_at_2,
           count(*) FILTER (WHERE best = 3) AS stops_at_3,
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
SELECT s.scientific_name, n.*, w.visits, w.routes
FROM stop_counts n
JOIN visit_counts w USING (species_id, season_year)
JOIN surveys_species s ON s.id = n.species_id
ORDER BY s.scientific_name, n.species_id, n.season_year
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
    return [
        year_row(
            YearCounts(
                species=row.scientific_name,
                season_year=row.season_year,
                routes=row.routes,
                stops=row.stops,
                visits=row.visits,
                periods=row.periods,
                stops_detected=row.stops_detected,
                stops_at_index=(row.stops_at_1, row.stops_at_2, row.stops_at_3),
                first_night=row.first_night,
                last_night=row.last_night,
            )
        )
        for row in rows
    ]
