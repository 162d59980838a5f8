"""The Seasons and Trends pages over 250,000 call-index rows against the bare SQL.

Ratios only: page and SQL are measured in one run, warm, in turns, and compared by
their medians. The bare SQL is the one statement that adds up the rows, run by a
cursor that fetches its result and does nothing else.
"""

import statistics
import time
from collections.abc import Callable

import pytest
from django.db import connection
from django.urls import reverse

from accounts.models import Role
from surveys.models import (
    CallIndex,
    Program,
)
from surveys.seasons.route_years import ROUTE_YEARS
from surveys.seasons.year_counts import count_again
from surveys.seasons.yearly import yearly_query
from tests.support.builders import (
    make_checklist,
    make_member,
    make_program,
    make_route,
    make_version,
)
from tests.support.many_rows import without_triggers

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]

ROUTES, STOPS, YEARS, WINDOWS = 60, 10, 12, 3
FIRST_YEAR = 2013
SPECIES = [f"Invented species {letter}" for letter in "ABCDEFGHIJKLMNO"]
LEAST_ROWS = 250_000
RUNS = 3
# Other tests on the same cores may slow the page more than the statement, or the statement more.
TRIES = 3
MOST = 2.0
# Of the time in which the same rows are added up from the calls.
MOST_COUNTED = 0.1

VISITS = """
INSERT INTO surveys_visit (id, route_id, protocol_version_id, observer_id, second_observer, night,
    season_year, "window", state, source, revision, cells, counts_in_trends,
    start_air_temperature_unit, end_air_temperature_unit, rain_48h_unit, start_sky, end_sky, notes,
    created_at, changed_at, submitted_at)
SELECT gen_random_uuid(), r.id, %(version)s, %(observer)s, '', make_date(y, 3 + w, 10), y,
    'Window ' || w, 'accepted', 'paper', 1, '{}', true, '', '', '', '', '', '', now(), now(), now()
FROM surveys_route r, generate_series(%(first)s, %(last)s) y, generate_series(1, %(windows)s) w
WHERE r.program_id = %(program)s
"""
PERIODS = """
INSERT INTO surveys_listeningperiod (id, visit_id, stop_id, status, skip_reason, counts_in_trends,
    paused_s, air_temperature_unit, water_temperature_unit, sky, noise, water_tonight, note)
SELECT gen_random_uuid(), v.id, s.id, 'listened', '', true, 0, '', '', '', '', '', ''
FROM surveys_visit v
JOIN surveys_stop s ON s.route_id = v.route_id
JOIN surveys_route r ON r.id = v.route_id
WHERE r.program_id = %(program)s
"""
# Four of five species are written down at each stop, in an even spread of 1 to 3.
CALLS = """
INSERT INTO surveys_callindex (period_id, species_id, "index", not_sure, counts_in_trends)
SELECT p.id, c.species_id, 1 + mod(abs(hashtext(p.id::text || c.id)), 3), false, true
FROM surveys_listeningperiod p
JOIN surveys_visit v ON v.id = p.visit_id
JOIN surveys_route r ON r.id = v.route_id
JOIN surveys_checklistentry c ON c.program_id = r.program_id
WHERE c.program_id = %(program)s AND mod(hashtext(c.id || p.id::text), 5) <> 0
"""


@pytest.fixture
def program() -> Program:
    """Sixty routes of ten stops over twelve years, three visits a year."""
    program = make_program()
    observer = make_member(program, Role.OBSERVER)
    windows = [
        {"name": f"Window {n}", "opens_month": 3 + n, "opens_day": 1, "closes_month": 3 + n,
         "closes_day": 28}
        for n in range(1, WINDOWS + 1)
    ]  # fmt: skip
    version = make_version(program, windows=windows)
    make_checklist(program, *SPECIES)
    with without_triggers() as cursor:
        for _ in range(ROUTES):
            make_route(program, version=version, stops=STOPS)
        parameters = {
            "program": program.pk,
            "version": version.pk,
            "observer": observer.person_id,
            "first": FIRST_YEAR,
            "last": FIRST_YEAR + YEARS - 1,
            "windows": WINDOWS,
        }
        for statement in (VISITS, PERIODS, CALLS):
            cursor.execute(statement, parameters)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    assert CallIndex.objects.count() >= LEAST_ROWS
    return program


def median_seconds(*tasks: Callable[[], object]) -> list[float]:
    """Median time of each task; the tasks take turns, so that a busy machine slows them alike."""
    times: list[list[float]] = [[] for _ in tasks]
    for run in range(RUNS + 1):
        for task, found in zip(tasks, times, strict=True):
            begun = time.perf_counter()
            task()
            if run:  # the first turn only warms up
                found.append(time.perf_counter() - begun)
    return [statistics.median(found) for found in times]


def bare(statement: str, parameters: dict[str, object]) -> Callable[[], int]:
    def run() -> int:
        with connection.cursor() as cursor:
            cursor.execute(statement, parameters)
            return len(cursor.fetchall())

    return run


def words(name: str, page: float, sql: float) -> str:
    return f"{name}: page {page * 1000:.0f} ms, SQL {sql * 1000:.0f} ms, ratio {page / sql:.2f}"


def test_pages_answer_within_twice_the_bare_sql(program, client_for, record_property):
    client = client_for(make_member(program, Role.OBSERVER))
    last_year = FIRST_YEAR + YEARS - 1
    routes = list(program.routes.values_list("pk", flat=True))
    seasons = reverse("web:seasons", kwargs={"program": program.slug})
    seasons += f"?until={last_year}"
    seasons_sql = bare(
        ROUTE_YEARS,
        {
            "program": program.pk,
            "routes": routes,
            "first_year": FIRST_YEAR,
            "last_year": last_year,
        },
    )
    trends = reverse("web:trends", kwargs={"program": program.slug})
    # From the calls, as long as nothing is counted.
    from_calls = yearly_query(program)
    trends_sql = bare(*from_calls)
    # Both show every row of the statement they are measured against.
    assert seasons_sql() == ROUTES * YEARS
    assert client.get(seasons).content.count(b'class="season-cell"') == ROUTES * YEARS
    assert trends_sql() == len(SPECIES) * YEARS
    assert client.get(trends).content.count(b'<th scope="row">') == len(SPECIES) * YEARS

    for name, path, sql in (("Seasons", seasons, seasons_sql), ("Trends", trends, trends_sql)):
        for _ in range(TRIES):
            page_time, sql_time = median_seconds(lambda path=path: client.get(path), sql)
            if page_time <= MOST * sql_time:
                break
        record_property(name, words(name, page_time, sql_time))
        assert page_time <= MOST * sql_time, words(name, page_time, sql_time)

    count_again(program.pk)
    assert bare(*yearly_query(program))() == len(SPECIES) * YEARS
    # `sql_time` is that of Trends from the calls, a moment ago.
    counted_sql, page_time = median_seconds(
        bare(*yearly_query(program)), lambda: client.get(trends)
    )
    said = words("Trends, counted", page_time, sql_time)
    said += f"; counted SQL {counted_sql * 1000:.0f} ms"
    record_property("Trends, counted", said)
    assert counted_sql <= MOST_COUNTED * sql_time, said
    assert page_time <= sql_time, said
