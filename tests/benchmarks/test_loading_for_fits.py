"""Loading a program for its fits against the bare SQL of the same rows.

Ten stops a route, 20 season years, three visits a year; 600 routes (360,000 periods) run when
slow tests do: 10.7 s, 2.7 times the bare SQL. Both sides are
warm and take turns. The rest of the time is arrays, and the sunset of each visit.
"""

import statistics
import time

import pytest
from django.db import connection

from accounts.models import Role
from surveys.fitting.histories import (
    CALLS,
    PERIODS,
    load_periods,
)
from surveys.models import (
    ListeningPeriod,
    Program,
)
from surveys.trends.periods import TRACE_OF_RAIN_MM, species_periods
from tests.support.builders import (
    make_checklist,
    make_member,
    make_program,
    make_route,
    make_version,
)
from tests.support.many_rows import without_triggers

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]
STOPS, YEARS, VISITS = 10, 20, 3
RUNS = 3
MOST = 8.0

MAKE = (
    """
    INSERT INTO surveys_stop (route_id, number, name, place, active_from, habitat, hydroperiod,
        fish, notes)
    SELECT r.id, n, 'Stop ' || n,
        ST_SetSRID(ST_MakePoint(-89 + mod(r.id, 90) / 100.0, 43 + n / 100.0),
            4326)::geography, '2000-01-01', 'marsh', 'season', 'no', ''
    FROM surveys_route r, generate_series(1, %(stops)s) n
    WHERE r.program_id = %(program)s
    """,
    """
    INSERT INTO surveys_visit (id, route_id, protocol_version_id, observer_id, second_observer,
        night, season_year, "window", state, source, revision, cells, counts_in_trends,
        start_air_temperature_unit, end_air_temperature_unit, rain_48h_unit, start_sky, end_sky,
        notes, created_at, changed_at, submitted_at)
    SELECT gen_random_uuid(), r.id, %(version)s, %(observer)s, '', make_date(y, 3 + w, 10), y,
        'Window ' || w, 'accepted', 'paper', 1, '{}', true, '', '', '', '', '', '',
        now(), now(), now()
    FROM surveys_route r, generate_series(2005, 2004 + %(years)s) y,
        generate_series(1, %(visits)s) w
    WHERE r.program_id = %(program)s
    """,
    """
    INSERT INTO surveys_listeningperiod (id, visit_id, stop_id, status, skip_reason,
        counts_in_trends, paused_s, air_temperature_unit, water_temperature_unit, sky, noise,
        water_tonight, note, arrived_at, started_at, finished_at)
    SELECT gen_random_uuid(), v.id, s.id, 'listened', '', true, 0, '', '', '', '', 'full', '', t, t,
        t + interval '5 minutes'
    FROM surveys_visit v
    JOIN surveys_stop s ON s.route_id = v.route_id
    JOIN surveys_route r ON r.id = v.route_id
    CROSS JOIN LATERAL (SELECT v.night + interval '1 day 2 hours' + s.number * interval '9 minutes'
        AS t) begun
    WHERE r.program_id = %(program)s
    """,
    """
    INSERT INTO surveys_callindex (period_id, species_id, "index", not_sure, counts_in_trends)
    SELECT p.id, c.species_id, 1 + mod(abs(hashtext(p.id::text || c.id)), 3), false, true
    FROM surveys_listeningperiod p
    JOIN surveys_visit v ON v.id = p.visit_id
    JOIN surveys_route r ON r.id = v.route_id
    JOIN surveys_checklistentry c ON c.program_id = r.program_id
    WHERE c.program_id = %(program)s AND mod(hashtext(c.id || p.id::text), 3) = 0
    """,
)


def made(routes: int) -> Program:
    program = make_program()
    make_checklist(program, "Pseudacris crucifer", "Anaxyrus americanus")
    version = make_version(program)
    parameters = {
        "program": program.pk,
        "version": version.pk,
        "observer": make_member(program, Role.OBSERVER).person_id,
        "stops": STOPS,
        "years": YEARS,
        "visits": VISITS,
    }
    with without_triggers() as cursor:
        for _ in range(routes):
            make_route(program, version=version, stops=0)
        for statement in MAKE:
            cursor.execute(statement, parameters)
            # The next statement joins what this one wrote.
            cursor.execute("ANALYZE")
    assert ListeningPeriod.objects.count() == routes * STOPS * YEARS * VISITS
    return program


def bare(program: Program) -> None:
    with connection.cursor() as cursor:
        for statement in (PERIODS, CALLS):
            cursor.execute(statement, {"program": program.pk, "trace": TRACE_OF_RAIN_MM})
            cursor.fetchall()


@pytest.mark.parametrize("routes", [40, pytest.param(600, marks=pytest.mark.slow)])
def test_loading_against_bare_sql(routes):
    program = made(routes)
    times = {load_periods: [], bare: []}
    periods = None
    for run in range(RUNS + 1):
        for task, taken in times.items():
            begun = time.perf_counter()
            periods = task(program) or periods
            if run:  # the first turn only warms up
                taken.append(time.perf_counter() - begun)
    loading, floor = (statistics.median(taken) for taken in times.values())
    ratio = loading / floor
    assert ratio <= MOST, f"{loading:.2f} s against {floor:.2f} s"
    own = species_periods(periods, next(iter(periods.listed)))
    assert len(own.day) == routes * STOPS * YEARS * VISITS
