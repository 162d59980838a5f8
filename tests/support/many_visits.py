"""Years of visits of whole programs by a few statements, for benchmarks."""

from collections.abc import Sequence

from accounts.models import Role
from surveys.models import Program
from tests.support.builders import make_checklist, make_member, make_route, make_version
from tests.support.many_rows import without_triggers

STOPS, WINDOWS = 10, 3
VISITS = """
INSERT INTO surveys_visit (id, route_id, protocol_version_id, observer_id, second_observer, night,
    season_year, "window", state, source, revision, cells, counts_in_trends,
    start_air_temperature_unit, end_air_temperature_unit, rain_48h_unit, start_sky, end_sky, notes,
    created_at, changed_at, submitted_at)
SELECT gen_random_uuid(), r.id, %(version)s, %(observer)s, '', make_date(y, 3 + w, 10), y,
    'Window ' || w, 'accepted', 'paper', 1, '{}', true, '', '', '', '', '', '', now(), now(), now()
FROM surveys_route r, generate_series(%(first)s, %(last)s) y, generate_series(1, %(windows)s) w
WHERE r.protocol_id = %(protocol)s
"""
PERIODS = """
INSERT INTO surveys_listeningperiod (id, visit_id, stop_id, status, skip_reason, counts_in_trends,
    paused_s, air_temperature_unit, water_temperature_unit, sky, noise, water_tonight, note)
SELECT gen_random_uuid(), v.id, s.id, 'listened', '', true, 0, '', '', '', '', '', ''
FROM surveys_visit v
JOIN surveys_stop s ON s.route_id = v.route_id
WHERE v.protocol_version_id = %(version)s
"""
# Four of five species are written down at each stop, in an even spread of 1 to 3.
CALLS = """
INSERT INTO surveys_callindex (period_id, species_id, "index", not_sure, counts_in_trends)
SELECT p.id, c.species_id, 1 + mod(abs(hashtext(p.id::text || c.id)), 3), false, true
FROM surveys_listeningperiod p
JOIN surveys_visit v ON v.id = p.visit_id
CROSS JOIN surveys_checklistentry c
WHERE v.protocol_version_id = %(version)s AND c.program_id = %(program)s
    AND mod(hashtext(c.id || p.id::text), 5) <> 0
"""


def fill(program: Program, *, species: Sequence[str], routes: int, years: range) -> None:
    """`routes` of ten stops, three visits a year by one observer, four of five species heard at
    each stop. They leave no history and are not counted yet."""
    windows = [
        {"name": f"Window {n}", "opens_month": 3 + n, "opens_day": 1, "closes_month": 3 + n,
         "closes_day": 28}
        for n in range(1, WINDOWS + 1)
    ]  # fmt: skip
    version = make_version(program, windows=windows)
    make_checklist(program, *species)
    parameters = {
        "program": program.pk,
        "protocol": version.protocol_id,
        "version": version.pk,
        "observer": make_member(program, Role.OBSERVER).person_id,
        "first": years[0],
        "last": years[-1],
        "windows": WINDOWS,
    }
    with without_triggers() as cursor:
        for _ in range(routes):
            make_route(program, version=version, stops=STOPS)
        for statement in (VISITS, PERIODS, CALLS):
            cursor.execute(statement, parameters)
