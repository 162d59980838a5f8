"""A worker that is killed while it reads, checks or imports a large file leaves nothing of it, and
the next one does all of it.

A worker process with the command that `run_workers` starts is ended by SIGKILL.
"""

import random
import time

import pytest

from surveys.importing.runs import MOST_ROWS_AT_ONCE, enqueue_import
from surveys.importing.staging import forget_parts
from surveys.importing.uploads import open_upload, remember, store
from surveys.models import BackgroundRun, CallIndex, RunKind, RunState, Submission, Visit
from surveys.runs.queues import LONG
from tests.integration.importing.conftest import wide
from tests.support.runs import take_up
from tests.support.worker_process import PATIENCE_S, kill, start_worker, work_off

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]

READ, CHECKED = "Reading the file", "Checking the visits"
STEPS = (READ, CHECKED, "Making the rows", "Storing")
VISITS = MOST_ROWS_AT_ONCE + 200


@pytest.fixture
def large(transactional_db, program, coordinator):
    """A stored file of many visits, one stop each, over twenty years."""
    nights = [
        f"{route},{year}-{month:02}-{day:02},1,21:30,21:35,48,{day % 4},0"
        for year in range(2003, 2024)
        for month in (4, 5)
        for day in range(1, 31)
        for route in ("R1", "R2")
    ][:VISITS]
    row = store(coordinator, file_name="past.csv", content=wide(*nights).encode())
    upload = open_upload(coordinator, row.pk)
    remember(upload, (), upload.answers, leave_out_known=False)
    return row


def rows() -> list[int]:
    return [model.objects.count() for model in (Visit, Submission, CallIndex)]


def kill_in(step: str, run: BackgroundRun, rng: random.Random) -> None:
    """Have a worker take the run up, and kill it soon after it has begun a step."""
    worker = start_worker(LONG)
    begun = time.monotonic()
    while time.monotonic() - begun < PATIENCE_S and worker.is_alive():
        run.refresh_from_db()
        if run.step == step:
            break
        time.sleep(0.02)
    time.sleep(rng.uniform(0, 0.3))
    kill(worker)
    run.refresh_from_db()


@pytest.mark.parametrize("seed", range(3))
def test_nothing_or_all_of_it(large, coordinator, seed, record_property):
    rng = random.Random(seed)
    run = enqueue_import(coordinator, large.pk, RunKind.IMPORT)
    for step in rng.sample(STEPS, 2):
        kill_in(step, run, rng)
        record_property(f"killed in {step}", f"at {run.step} {run.done}, {run.state}")
        if run.state == RunState.DONE:
            break
        assert rows() == [0, 0, 0]
        take_up()
    work_off(LONG)
    run.refresh_from_db()
    assert run.state == RunState.DONE, run.problem
    large.refresh_from_db()
    assert large.visit_count == VISITS
    assert rows()[:2] == [VISITS, VISITS]


@pytest.mark.parametrize(("kind", "step"), [(RunKind.READ_IMPORT, READ),
                                            (RunKind.CHECK_IMPORT, CHECKED)])  # fmt: skip
def test_a_reading_or_a_check_is_taken_up(large, coordinator, kind, step):
    if kind == RunKind.READ_IMPORT:
        forget_parts(large)
    run = enqueue_import(coordinator, large.pk, kind)
    kill_in(step, run, random.Random(7))
    assert run.state == RunState.RUNNING, "the worker was done before it was killed"
    assert run.result is None
    take_up()
    work_off(LONG)
    run.refresh_from_db()
    assert (run.state, run.attempts) == (RunState.DONE, 2), run.problem
    assert len(open_upload(coordinator, large.pk).table.rows) == VISITS
    assert rows() == [0, 0, 0]
