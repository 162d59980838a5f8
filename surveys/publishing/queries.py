"""The rows that count, as SQL: what a publication freezes.

Everything up to and with one season year, from the database views of what counts
(`surveys/models/counted.sql`). Names sort by their bytes, so that the same data give the same file
on every host.
"""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Iterator, Mapping
from typing import Any

from django.db import connection

BATCH = 5000

VISITS = """
WITH debut AS (
    SELECT observer_id, min(season_year) AS season_year
    FROM counted_visit WHERE program_id = %(program)s GROUP BY observer_id
)
SELECT v.id::text AS visit, v.route_code AS route, v.night, v.season_year,
       dense_rank() OVER (PARTITION BY v.route_id, v.season_year ORDER BY v.night, v.id)
           AS visit_number,
       v."window", p.name AS protocol, w.number AS protocol_version,
       w.season_begins_month, w.season_begins_day, v.observer_id,
       d.season_year = v.season_year AS first_season,
       v.start_air_temperature_c::float8 AS start_air_temperature, v.start_beaufort, v.start_sky,
       v.end_air_temperature_c::float8 AS end_air_temperature, v.end_beaufort, v.end_sky,
       v.rain_48h_mm::float8 AS rain_48h, v.rain_trace
FROM counted_visit v
JOIN surveys_protocolversion w ON w.id = v.protocol_version_id
JOIN surveys_protocol p ON p.id = w.protocol_id
JOIN debut d ON d.observer_id = v.observer_id
WHERE v.program_id = %(program)s AND v.season_year <= %(season_year)s
ORDER BY v.night, v.route_code COLLATE "C", v.id
"""

PERIODS = """
SELECT p.id::text AS period, p.visit_id::text AS visit, p.stop_id, p.night,
       p.started_at, p.finished_at, p.paused_s AS paused,
       p.air_temperature_c::float8 AS air_temperature,
       p.water_temperature_c::float8 AS water_temperature,
       p.beaufort, p.sky, p.noise, p.water_tonight
FROM counted_period p
JOIN surveys_stop s ON s.id = p.stop_id
WHERE p.program_id = %(program)s AND p.season_year <= %(season_year)s
ORDER BY p.night, p.route_code COLLATE "C", p.visit_id, s.number, p.id
"""

CALLS = """
SELECT c.period_id::text AS period, c.scientific_name AS species, c.call_index,
       CASE WHEN c.call_index > 0 THEN c.confirmed_at IS NOT NULL END AS confirmed_by_ear,
       CASE WHEN c.call_index > 0 THEN coalesce(c.checked, false) END AS checked_by_ear,
       c.confirmed_by_id, c.recorded_index, c.far_index
FROM counted_call c
JOIN surveys_stop s ON s.id = c.stop_id
WHERE c.program_id = %(program)s AND c.season_year <= %(season_year)s
ORDER BY c.night, c.route_code COLLATE "C", c.visit_id, s.number, c.period_id,
         c.scientific_name COLLATE "C"
"""

# No stop: a visit has its route, whose places are shared as its most sensitive species allows.
SIGHTINGS = """
SELECT v.id::text AS visit, g.row AS number, s.scientific_name AS species, g.life_stage, g.count,
       g.color_form
FROM counted_visit v
JOIN surveys_sighting g ON g.visit_id = v.id
JOIN surveys_species s ON s.id = g.species_id
WHERE v.program_id = %(program)s AND v.season_year <= %(season_year)s
ORDER BY v.night, v.route_code COLLATE "C", v.id, g.row
"""

# Values of the own fields that the program publishes.
OWN_VALUES = """
SELECT v.id::text AS event, v.id::text AS visit, f.key COLLATE "C" AS field,
       v.own_fields ->> f.key AS value, v.night, v.route_code COLLATE "C" AS route_code, 0 AS number
FROM counted_visit v
JOIN surveys_ownfield f
  ON f.program_id = v.program_id AND f.per = 'visit' AND f.published AND v.own_fields ? f.key
WHERE v.program_id = %(program)s AND v.season_year <= %(season_year)s
UNION ALL
SELECT p.id::text, p.visit_id::text, f.key COLLATE "C", p.own_fields ->> f.key,
       p.night, p.route_code COLLATE "C", s.number
FROM counted_period p
JOIN surveys_stop s ON s.id = p.stop_id
JOIN surveys_ownfield f
  ON f.program_id = p.program_id AND f.per = 'stop' AND f.published AND p.own_fields ? f.key
WHERE p.program_id = %(program)s AND p.season_year <= %(season_year)s
ORDER BY night, route_code, visit, number, event, field
"""

# Stops where somebody listened, with what was ever recorded on their route: on any visit that
# was handed in, whether it counts or not, and whether the species was heard or seen.
STOPS = """
WITH sensitive AS (
    SELECT r.id AS route_id, max(e.sensitivity) AS level
    FROM surveys_program g
    JOIN surveys_route r ON r.program_id = g.id
    JOIN surveys_checklistentry e ON e.program_id = g.id AND e.sensitivity > g.place_sharing
    WHERE g.id = %(program)s AND (
        EXISTS (
            SELECT FROM surveys_visit v
            JOIN surveys_listeningperiod p ON p.visit_id = v.id
            JOIN surveys_callindex c ON c.period_id = p.id
            WHERE v.route_id = r.id AND v.state <> 'draft' AND c.species_id = e.species_id)
        OR EXISTS (
            SELECT FROM surveys_visit v
            JOIN surveys_sighting s ON s.visit_id = v.id
            WHERE v.route_id = r.id AND v.state <> 'draft' AND s.species_id = e.species_id)
    )
    GROUP BY r.id
)
SELECT s.id, s.route_id, r.code AS route, s.number, s.name, s.active_from, s.active_until,
       s.habitat, s.hydroperiod, s.fish,
       ST_Y(s.place::geometry) AS latitude, ST_X(s.place::geometry) AS longitude,
       greatest(g.place_sharing, coalesce(l.level, 0)) AS level,
       row_number() OVER (PARTITION BY s.route_id, s.number ORDER BY s.active_from) AS generation
FROM surveys_program g
JOIN surveys_route r ON r.program_id = g.id
JOIN surveys_stop s ON s.route_id = r.id
LEFT JOIN sensitive l ON l.route_id = r.id
WHERE g.id = %(program)s
ORDER BY r.code COLLATE "C", s.number, s.active_from
"""


def stream(sql: str, parameters: Mapping[str, object]) -> Iterator[Any]:
    """The rows by column name, read in batches: memory stays the same however many there are."""
    with connection.chunked_cursor() as cursor:
        cursor.execute(sql, parameters)
        rows = cursor.fetchmany(BATCH)
        make = namedtuple("row", [column.name for column in cursor.description])._make
        while rows:
            yield from map(make, rows)
            rows = cursor.fetchmany(BATCH)
