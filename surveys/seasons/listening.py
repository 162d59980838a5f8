"""Where somebody listened and what was heard there: how the statements of Seasons begin.

`listened` has one row a listening period, `heard` one row a call, both of some routes of a program
in some season years. They take `program`, `routes`, `first_year`, `last_year` and, for one
species, `species`.
"""

_WANTED = """program_id = %(program)s
      AND route_id = ANY(%(routes)s)
      AND season_year BETWEEN %(first_year)s AND %(last_year)s"""

# All species together: every period that counts is listening. The calls are read without their
# silences, so that a silent stop costs nothing.
ALL_SPECIES = f"""
WITH listened AS (
    SELECT visit_id, stop_id, route_id, season_year
    FROM counted_period
    WHERE {_WANTED}
), heard AS (
    SELECT stop_id, route_id, season_year, call_index, species_id
    FROM counted_written
    WHERE call_index IS NOT NULL
      AND {_WANTED}
)"""  # noqa: S608 - our own text

# One species: a period at which it is missing is no listening for it. Where it was heard off the
# checklist it was listened for, without silences beside it.
ONE_SPECIES = f"""
WITH listened AS (
    SELECT visit_id, stop_id, route_id, season_year, call_index, species_id
    FROM counted_period_species
    WHERE species_id = %(species)s
      AND call_index IS NOT NULL
      AND {_WANTED}
), heard AS (
    SELECT stop_id, route_id, season_year, call_index, species_id
    FROM listened
    WHERE call_index >= 1
)"""  # noqa: S608 - our own text
