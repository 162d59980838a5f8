"""The counts of each route, season year and species that the yearly table is added up from.

They are stored, so that a page of results need not read the calls of all years. Triggers mark what
has changed since (`surveys/models/year_count.py`). What is marked is read from the calls until it
has been counted again, so a table is never out of date, only slower.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.db import connection, transaction

from surveys.models import StaleYearCount

# A season year of a route is a pair (route, year). One transaction counts so many again.
PAIRS_AT_ONCE = 200

_PAIRS = "(SELECT * FROM unnest(%(routes)s::bigint[], %(years)s::int[]))"
_THESE_PAIRS = f"AND route_id = ANY(%(routes)s) AND (route_id, season_year) IN {_PAIRS}"
_COLUMNS = """species_id, season_year, route_id, stops, visits, periods,
       stops_at_1, stops_at_2, stops_at_3, first_night, last_night"""

# From the calls that count, silences included:
#   listening    one row a species and period; a period at which the species is missing is none
#   by_stop      one row a species, season year and stop, with its highest index
#   by_route     one row a species, season year and route
_FROM_CALLS = """
WITH listening AS MATERIALIZED (
    SELECT species_id, season_year, stop_id, visit_id, route_id, night, call_index
    FROM counted_call
    WHERE program_id = %(program)s
      AND call_index IS NOT NULL
      AND (%(species)s::bigint IS NULL OR species_id = %(species)s)
      AND (%(region)s::text IS NULL OR region = %(region)s)
      AND (%(first_year)s::int IS NULL OR season_year >= %(first_year)s)
      AND (%(last_year)s::int IS NULL OR season_year <= %(last_year)s)
      {pairs}
), by_stop AS (
    SELECT species_id, season_year, route_id, stop_id,
           count(*) AS periods,
           max(call_index) AS highest_index,
           min(night) FILTER (WHERE call_index >= 1) AS first_night,
           max(night) FILTER (WHERE call_index >= 1) AS last_night
    FROM listening
    GROUP BY species_id, season_year, route_id, stop_id
), by_route AS (
    SELECT species_id, season_year, route_id, count(DISTINCT visit_id) AS visits
    FROM listening
    GROUP BY species_id, season_year, route_id
)
SELECT species_id, season_year, route_id,
       count(*) AS stops,
       min(visits) AS visits,
       sum(periods) AS periods,
       count(*) FILTER (WHERE highest_index = 1) AS stops_at_1,
       count(*) FILTER (WHERE highest_index = 2) AS stops_at_2,
       count(*) FILTER (WHERE highest_index = 3) AS stops_at_3,
       min(first_night) AS first_night,
       max(last_night) AS last_night
FROM by_stop
JOIN by_route USING (species_id, season_year, route_id)
GROUP BY species_id, season_year, route_id
"""

_STORED = f"""
SELECT {_COLUMNS}
FROM surveys_routeyearcount
WHERE program_id = %(program)s
  AND (%(species)s::bigint IS NULL OR species_id = %(species)s)
  AND (%(region)s::text IS NULL
       OR route_id IN (SELECT id FROM surveys_route WHERE region = %(region)s))
  AND (%(first_year)s::int IS NULL OR season_year >= %(first_year)s)
  AND (%(last_year)s::int IS NULL OR season_year <= %(last_year)s)
  AND (route_id, season_year) NOT IN {_PAIRS}
"""  # noqa: S608 - our own text

_BOTH = "SELECT * FROM ({stored}) s UNION ALL SELECT * FROM ({from_calls}) c"
_LOCK = "SELECT pg_advisory_xact_lock(hashtext('year counts'), %(program)s::int)"
_DELETE = "DELETE FROM {table} WHERE program_id = %(program)s {pairs}"
_DELETE_MARKS = _DELETE.format(table="surveys_staleyearcount", pairs=_THESE_PAIRS)
_DELETE_COUNTS = _DELETE.format(table="surveys_routeyearcount", pairs=_THESE_PAIRS)
_INSERT_COUNTS = f"""
INSERT INTO surveys_routeyearcount (program_id, {_COLUMNS})
SELECT %(program)s, counted.* FROM ({_FROM_CALLS.format(pairs=_THESE_PAIRS)}) counted
"""  # noqa: S608 - our own text

# The marks go first: a change that is committed after that leaves a mark that stays.
COUNTING = (_LOCK, _DELETE_MARKS, _DELETE_COUNTS, _INSERT_COUNTS)
_EVERYTHING = {"species": None, "region": None, "first_year": None, "last_year": None}


@dataclass(frozen=True)
class Stale:
    """Which pairs of a program have changed since they were counted."""

    everything: bool
    routes: list[int]
    years: list[int]


def mark_program(program_id: int) -> None:
    """For what writes rows without their triggers."""
    StaleYearCount.objects.create(program_id=program_id)


def stale_counts(program_id: int) -> Stale:
    pairs = set(
        StaleYearCount.objects.filter(program=program_id).values_list("route_id", "season_year")
    )
    everything = (None, None) in pairs
    routes_and_years = [] if everything else sorted(pairs)
    return Stale(
        everything=everything,
        routes=[route for route, _ in routes_and_years],
        years=[year for _, year in routes_and_years],
    )


def counts_statement(stale: Stale) -> str:
    """A SELECT of one row a species, season year and route. It takes the parameters `program`,
    `species`, `region`, `first_year`, `last_year` and, from `stale`, `routes` and `years`."""
    if stale.everything:
        return _FROM_CALLS.format(pairs="")
    if stale.routes:
        return _BOTH.format(stored=_STORED, from_calls=_FROM_CALLS.format(pairs=_THESE_PAIRS))
    return _STORED


def count_again(program_id: int) -> int:
    """Bring the stored counts of a program up to date. Returns how many pairs were counted."""
    _spread_over_pairs(program_id)
    stale = stale_counts(program_id)
    pairs = list(zip(stale.routes, stale.years, strict=True))
    for start in range(0, len(pairs), PAIRS_AT_ONCE):
        _count_pairs(program_id, pairs[start : start + PAIRS_AT_ONCE])
    return len(pairs)


@transaction.atomic
def _spread_over_pairs(program_id: int) -> None:
    """Mark each pair in place of the whole program, so that it is counted piece by piece."""
    whole = StaleYearCount.objects.filter(program=program_id, route=None)
    if not whole.delete()[0]:
        return
    with connection.cursor() as cursor:
        cursor.execute(
            """
            INSERT INTO surveys_staleyearcount (program_id, route_id, season_year)
            SELECT %(program)s, route_id, season_year FROM counted_visit
            WHERE program_id = %(program)s
            UNION
            SELECT program_id, route_id, season_year FROM surveys_routeyearcount
            WHERE program_id = %(program)s
            """,
            {"program": program_id},
        )


@transaction.atomic
def _count_pairs(program_id: int, pairs: list[tuple[int, int]]) -> None:
    parameters = _EVERYTHING | {
        "program": program_id,
        "routes": [route for route, _ in pairs],
        "years": [year for _, year in pairs],
    }
    with connection.cursor() as cursor:
        for statement in COUNTING:
            cursor.execute(statement, parameters)


def mark_wrong_counts(program_id: int) -> int:
    """Mark the pairs whose stored counts differ from the calls though nothing had marked them.

    There should be none. One statement sees counts, calls and marks at the same moment.
    """
    from_calls = _FROM_CALLS.format(pairs="")
    statement = f"""
        WITH stored AS ({_STORED}), counted AS ({from_calls}), wrong AS (
            (SELECT * FROM stored EXCEPT SELECT * FROM counted)
            UNION ALL
            (SELECT * FROM counted EXCEPT SELECT * FROM stored)
        )
        INSERT INTO surveys_staleyearcount (program_id, route_id, season_year)
        SELECT DISTINCT %(program)s, route_id, season_year FROM wrong
        WHERE NOT EXISTS (
            SELECT FROM surveys_staleyearcount mark
            WHERE mark.program_id = %(program)s
              AND (mark.route_id IS NULL
                   OR (mark.route_id, mark.season_year) = (wrong.route_id, wrong.season_year))
        )
    """  # noqa: S608 - our own text
    parameters = _EVERYTHING | {"program": program_id, "routes": [], "years": []}
    with connection.cursor() as cursor:
        cursor.execute(statement, parameters)
        return cursor.rowcount
