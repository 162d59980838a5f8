"""An archive of past visits, from its file to the review: time and memory of each step.

`ROWS=200000 pytest -m slow -s tests/benchmarks/test_archive.py` for a large one. The floor is COPY
of the very rows into tables without index, trigger or constraint, in the same run.
"""

import os
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from django.db import connection

from surveys.importing.undoing import undo_import
from surveys.importing.uploads import commit_upload, open_upload, preview_upload, store
from surveys.models import CallIndex, ListeningPeriod, Visit
from tests.support.archives import STOPS, archive_csv, make_archive_program
from tests.support.memory import megabytes, peak_megabytes

pytestmark = [pytest.mark.slow, pytest.mark.benchmark, pytest.mark.django_db]

ROWS = int(os.environ.get("ROWS", "10000"))
ROUTES = 250
MOST_MIB = 200
# By the clock, with the work of the database; and the work of this process alone. Measured at
# 10,000 rows on a busy machine: 17 and 4 times. Written by INSERT, with history row by row, it was
# 130 and 40 times on a quiet one.
MOST_TIMES_COPY, MOST_WORK_TO_COPY = 80, 25


@pytest.fixture
def step():
    """Does a step, and says what it took."""
    costs: dict[str, tuple[float, float, float]] = {}

    def do(name: str, work: Callable[[], object]):
        Path("/proc/self/clear_refs").write_text("5")  # the highest mark so far is forgotten
        before, cpu, begun = megabytes("VmRSS"), time.process_time(), time.monotonic()
        done = work()
        cpu, wall = time.process_time() - cpu, time.monotonic() - begun
        costs[name] = (wall, cpu, peak_megabytes() - before)
        print(f"{name}: {wall:.1f} s, {cpu:.1f} s of work, +{costs[name][2]:.0f} MiB")  # noqa: T201
        return done

    do.costs = costs
    return do


def _copied() -> None:
    with connection.cursor() as cursor:
        for model in (Visit, ListeningPeriod, CallIndex):
            table = model._meta.db_table
            cursor.execute(
                f"CREATE TEMP TABLE copied_{table} AS SELECT * FROM {table} WITH NO DATA"
            )
            with cursor.copy(f"COPY {table} TO STDOUT") as out:
                rows = b"".join(out)
            with cursor.copy(f"COPY copied_{table} FROM STDIN") as into:
                into.write(rows)


def _stored(coordinator, content):
    return store(coordinator, file_name="a.csv", content=content, at_once=True)


def _imported(coordinator, upload):
    """With the checks of foreign keys that wait for the end of the transaction. What is not checked
    is looked through for each row that is changed later in the same transaction, which in real use
    is another one."""
    done = commit_upload(coordinator, upload)
    connection.check_constraints()
    return done


def test_an_archive(coordinator, program, step):
    make_archive_program(program, routes=ROUTES)
    content = archive_csv(ROWS, routes=ROUTES)
    print(f"\n{ROWS} rows, {len(content) / 1024**2:.1f} MiB")  # noqa: T201
    row = step("stored", lambda: _stored(coordinator, content))
    upload = step("opened", lambda: open_upload(coordinator, row.pk))
    seen = step("checked", lambda: preview_upload(coordinator, upload))
    assert (seen.visits, seen.stops, seen.problem_count) == (ROWS // STOPS, ROWS, 0)
    done = step("imported", lambda: _imported(coordinator, upload))
    assert (done.visits, done.periods) == (ROWS // STOPS, ROWS)
    step("copied", _copied)
    undone = step("taken back", lambda: undo_import(coordinator, row.pk, reason="Tried"))
    assert undone == ROWS // STOPS
    assert max(grown for name, (_, _, grown) in step.costs.items() if name != "copied") < MOST_MIB
    wall, work, _ = step.costs["imported"]
    assert wall < MOST_TIMES_COPY * step.costs["copied"][0]
    assert work < MOST_WORK_TO_COPY * step.costs["copied"][0]
