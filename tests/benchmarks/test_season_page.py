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
from surveys.web.trends.yearly import ROWS_PER_PAGE
from tests.benchmarks.nation.costs import rows_read
from tests.benchmarks.nation.inhabited import analyze, inhabited
from tests.integration.test_access import address
from tests.support.builders import (
    make_member,
    make_program,
)
from tests.support.many_visits import STOPS, WINDOWS, fill

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]

ROUTES, YEARS = 60, 12
FIRST_YEAR = 2013
SPECIES = [f"Invented species {letter}" for letter in "ABCDEFGHIJKLMNO"]
LEAST_ROWS = 250_000
RUNS = 3
# Other tests on the same cores may slow the page more than the statement, or the statement more.
TRIES = 3
MOST = 2.0
# Pages of results, and what partners read of them.
PAGES = (
    "web:desk", "web:tonight", "web:seasons", "web:season_changed", "web:season_coverage",
    "web:season_map", "web:season_visits", "web:trends", "web:trend_species",
    "web:observers", "web:review", "web:review_visit", "web:sharing", "web:too_exact",
    "web:publications", "web:publication_changes", "web:survey_packet", "web:visit",
    "api:records_visits", "api:records_periods",
    "api:records_calls", "api:records_routes", "api:records_stops", "api:records_export",
    "api:records_water", "api:records_station_weather", "api:route_years", "api:trends",
)  # fmt: skip
FEW_ROUTES = 2
# Of the rows of the large program; its own, a thirtieth as many, may be looked at time and again.
MOST_READ = 0.75
# Of the time in which the same rows are added up from the calls.
MOST_COUNTED = 0.1


@pytest.fixture(scope="module")
def program(module_rows: None) -> Program:
    """Sixty routes of ten stops over twelve years, three visits a year."""
    program = make_program()
    fill(
        program,
        species=SPECIES,
        routes=ROUTES,
        years=range(FIRST_YEAR, FIRST_YEAR + YEARS),
    )
    analyze()
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
    # Seasons shows every row of the statement it is measured against; Trends needs every row, for
    # its flags, and shows those of the first page.
    assert seasons_sql() == ROUTES * YEARS
    assert client.get(seasons).content.count(b'class="season-cell"') == ROUTES * YEARS
    assert trends_sql() == len(SPECIES) * YEARS
    assert client.get(trends).content.count(b'<th scope="row">') == ROWS_PER_PAGE

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


def test_pages_of_a_small_program_do_not_read_the_rows_of_a_large_one(program):
    """Whatever the plan: rows that a statement looks at and leaves out are counted."""
    world, client = inhabited(
        species=SPECIES, routes=FEW_ROUTES, years=range(FIRST_YEAR, FIRST_YEAR + YEARS)
    )
    count_again(world.members["coordinator"].program_id)
    analyze()
    large = {
        "surveys_listeningperiod": ROUTES * STOPS * YEARS * WINDOWS,
        "surveys_callindex": CallIndex.objects.count(),
    }
    wasteful = {
        f"{name}: {table}": read
        for name in PAGES
        for table, read in rows_read(client, address(world, name), large).items()
        if read > MOST_READ * large[table]
    }
    assert not wasteful
