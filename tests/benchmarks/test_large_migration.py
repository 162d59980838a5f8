"""Migrations of a table of 15 million calls while somebody writes to it.

The kinds of change that `tests/integration/test_migrations_lock.py` lets through, and some that it
refuses, each made by Django's own operations; and the newest migration of the project that changes
the table, as it is. What counts is how long a writer waits; the floor is
one reading of the whole table in the same run. CALL_ROWS makes a smaller table.

    CALL_ROWS=1500000 pytest -m slow -s tests/benchmarks/test_large_migration.py

Measured with 15,000,000 rows at a load of 15 to 24, one reading of the table 2.3 s: 0036 took 5.0 s
and a writer waited 0.09 s (back again: 71 s, 0.29 s); a column 5.5 s and 0.05 s; an index made
concurrently 32 s and 0.30 s; a constraint 7.6 s and 0.33 s. Refused by the linter: an index as it
is, 16.2 s, and a column with a CHECK, 3.9 s.
"""

import os
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import psycopg
import pytest
from django.apps import apps
from django.contrib.postgres.operations import (
    AddConstraintNotValid,
    AddIndexConcurrently,
    ValidateConstraint,
)
from django.core.management import call_command
from django.db import connection, models
from django.db.migrations import AddField, AddIndex
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState

from tests.support.builders import make_species
from tests.support.many_rows import without_triggers

pytestmark = [
    pytest.mark.benchmark,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
]

ROWS = int(os.environ.get("CALL_ROWS", "15000000"))
CHECK = models.CheckConstraint(
    condition=models.Q(index__lte=9) | models.Q(index=None), name="small"
)
LET_THROUGH: dict[str, list[Operation]] = {
    "a column with db_default": [
        AddField("CallIndex", "loudness", models.SmallIntegerField(db_default=0))
    ],
    "an index, concurrently": [AddIndexConcurrently("CallIndex", models.Index("index", name="a"))],
    "a constraint, not valid, then validated": [
        AddConstraintNotValid("CallIndex", CHECK),
        ValidateConstraint("CallIndex", "small"),
    ],
}
REFUSED: dict[str, list[Operation]] = {
    "an index as it is": [AddIndex("CallIndex", models.Index("index", name="b"))],
    "a column with a CHECK": [
        AddField("CallIndex", "loudness", models.PositiveSmallIntegerField(db_default=0))
    ],
}
BEFORE_NEWEST, NEWEST = "0035_season_plan", "0036_fewer_indexes_of_calls"
# Of the time that reading the table takes; it leaves room for what else the machine does.
MOST_WAIT = 1.0
INSERT = """
    INSERT INTO surveys_callindex (period_id, species_id, index, not_sure, counts_in_trends)
    VALUES (gen_random_uuid(), %s, 1, false, false)
"""


@pytest.fixture
def species(transactional_db) -> int:
    species = make_species().pk
    with without_triggers() as cursor:
        cursor.execute(
            "INSERT INTO surveys_callindex"
            " (period_id, species_id, index, not_sure, counts_in_trends)"
            " SELECT gen_random_uuid(), %s, 1 + n %% 3, false, true FROM generate_series(1, %s) n",
            [species, ROWS],
        )
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE surveys_callindex")
    return species


@contextmanager
def writer(species: int) -> Iterator[list[float]]:
    """Writes a row again and again; the seconds that each took."""
    took: list[float] = []
    over = threading.Event()

    def write() -> None:
        with psycopg.connect(**connection.get_connection_params(), autocommit=True) as there:
            # No such listening period is there.
            there.execute("SET session_replication_role = replica")
            while not over.wait(0.01):
                begun = time.perf_counter()
                there.execute(INSERT, [species])
                took.append(time.perf_counter() - begun)

    thread = threading.Thread(target=write)
    thread.start()
    try:
        yield took
    finally:
        over.set()
        thread.join()


def made(operations: list[Operation], species: int) -> tuple[float, float]:
    """Seconds that the change took, and the longest that the writer waited; undone afterwards."""
    states = [ProjectState.from_apps(apps)]
    for operation in operations:
        states.append(states[-1].clone())
        operation.state_forwards("surveys", states[-1])
    steps = list(zip(operations, states, states[1:], strict=False))
    with writer(species) as took:
        time.sleep(0.5)
        begun = time.perf_counter()
        for operation, before, after in steps:
            with connection.schema_editor(atomic=False) as editor:
                operation.database_forwards("surveys", editor, before, after)
        seconds = time.perf_counter() - begun
        time.sleep(0.2)
    for operation, before, after in reversed(steps):
        with connection.schema_editor(atomic=False) as editor:
            operation.database_backwards("surveys", editor, after, before)
    return seconds, max(took)


def newest_made(species: int) -> dict[str, tuple[float, float]]:
    """Seconds, and the longest wait of a writer, for the newest migration back and forth."""
    found = {}
    for way, name in (("back", BEFORE_NEWEST), ("forth", NEWEST)):
        with writer(species) as took:
            time.sleep(0.5)
            begun = time.perf_counter()
            call_command("migrate", "surveys", name, verbosity=0)
            seconds = time.perf_counter() - begun
            time.sleep(0.2)
        found[f"{NEWEST}, {way}"] = seconds, max(took)
    return found


def test_a_writer_hardly_waits(species, record_property):
    with connection.cursor() as cursor:
        begun = time.perf_counter()
        cursor.execute("SELECT sum(index) FROM surveys_callindex")
        floor = time.perf_counter() - begun
    found = newest_made(species)
    found |= {name: made(operations, species) for name, operations in LET_THROUGH.items()}
    refused = {name: made(operations, species) for name, operations in REFUSED.items()}
    said = f"{ROWS} rows, read in {floor:.2f} s\n" + "\n".join(
        f"{kind} {name}: {seconds:.2f} s, a writer waited {1000 * wait:.0f} ms"
        for kind, changes in (("let through:", found), ("refused:", refused))
        for name, (seconds, wait) in changes.items()
    )
    record_property("migrations", said)
    print(said)  # noqa: T201 - shown with -s
    assert max(wait for _, wait in found.values()) <= MOST_WAIT * floor, said
    assert refused["an index as it is"][1] > MOST_WAIT * floor, said
