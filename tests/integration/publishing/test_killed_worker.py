"""A worker that is killed leaves nothing or a whole publication, and the next one finishes it.

A worker process with the command that `run_workers` starts is ended by SIGKILL at random moments
of a
publication with all its files.
"""

import hashlib
import random
import time
from multiprocessing.context import ForkServerProcess

import pytest
from django.db import connection

from surveys.models import (
    BackgroundRun,
    Publication,
    PublicationFile,
    PublicationPiece,
    RunKind,
    RunState,
)
from surveys.publishing.files import CHECKSUMS, EXACT_CHECKSUMS, open_file
from surveys.publishing.formats.registry import FORMATS
from surveys.publishing.publish import request_publication
from surveys.publishing.tables import TABLES
from surveys.runs.kinds import task_name
from surveys.runs.queues import LONG
from tests.support.builders import make_member
from tests.support.frozen import small_program
from tests.support.runs import take_up
from tests.support.worker_process import PATIENCE_S, kill, start_worker, work_off

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def asked(transactional_db: None) -> BackgroundRun:
    coordinator = make_member(small_program(), "coordinator")
    return request_publication(coordinator, 2024, site_url="http://x.example")


def whole(run: BackgroundRun) -> bool:
    """Whether there is a publication. Fails when there is a part of one."""
    run.refresh_from_db()
    found = list(Publication.objects.all())
    assert len(found) == (1 if run.state == RunState.DONE else 0)
    if not found:
        assert not PublicationFile.objects.exists()
        assert not PublicationPiece.objects.exists()
        return False
    (publication,) = found
    assert run.result == {"version": publication.version}
    files = {file.kind: file for file in publication.files.all()}
    made = {table.file for table in TABLES} | {one.kind for one in FORMATS}
    assert made | {CHECKSUMS, EXACT_CHECKSUMS, "method.txt"} == set(files)
    listed = {}
    for kind, file in files.items():
        content = b"".join(open_file(file))
        assert len(content) == file.bytes
        assert hashlib.sha256(content).hexdigest() == file.sha256
        if kind in (CHECKSUMS, EXACT_CHECKSUMS):
            listed |= dict(reversed(line.split("  ")) for line in content.decode().splitlines())
    assert listed == {
        kind: file.sha256
        for kind, file in files.items()
        if kind not in (CHECKSUMS, EXACT_CHECKSUMS)
    }
    assert publication.sha256 == files[CHECKSUMS].sha256
    return True


def wait_for(run: BackgroundRun, worker: ForkServerProcess, step: int) -> None:
    """Until the run has begun a step, or the worker has ended."""
    begun = time.monotonic()
    while time.monotonic() - begun < PATIENCE_S and worker.is_alive():
        run.refresh_from_db()
        if run.state not in (RunState.QUEUED, RunState.RUNNING):
            return
        if run.state == RunState.RUNNING and run.done >= step:
            return
        time.sleep(0.02)


def finish(run: BackgroundRun) -> None:
    take_up()
    work_off(LONG)
    assert whole(run)
    # And once more: nothing is left to do.
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT status FROM procrastinate_jobs WHERE task_name = %s",
            [task_name(RunKind.PUBLISH)],
        )
        assert cursor.fetchall() == [("succeeded",)]


def steps_in_all() -> int:
    """Freezing, a fit a species and kind of site, the files, storing."""
    return 1 + 2 * 3 + len(FORMATS) + 1


@pytest.mark.parametrize(
    ("seed", "kills"),
    [(0, 2), *(pytest.param(seed, 5, marks=pytest.mark.slow) for seed in range(1, 12))],
)
def test_nothing_or_all_of_it_and_the_next_worker_finishes(asked, seed, kills, record_property):
    """Killed in a random step, at a random moment within it; one in three while files are stored.
    Then taken up by the next worker, which is killed as well."""
    rng = random.Random(seed)
    last = steps_in_all() - 1
    for number in range(kills):
        step = last if rng.random() < 1 / 3 else rng.randrange(last)
        worker = start_worker(LONG)
        wait_for(asked, worker, step)
        time.sleep(rng.uniform(0, 0.15 if step == last else 0.5))
        kill(worker)
        done = whole(asked)
        record_property(f"kill {number + 1}", f"step {step} of {last}, done: {done}")
        if done:
            break
        take_up()
    finish(asked)
