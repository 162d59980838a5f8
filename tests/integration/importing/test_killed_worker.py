"""A worker that is killed in the middle of a large import leaves nothing of it, and the next
one imports all. The real worker process, as `deploy/demo` starts it, is ended by SIGKILL."""

import asyncio
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.db import connection
from procrastinate.contrib.django import app

from surveys.importing.runs import (
    MOST_ROWS_AT_ONCE,
    ask,
)
from surveys.importing.tasks import take_up_stalled
from surveys.importing.uploads import (
    open_upload,
    remember,
    store,
)
from surveys.models import (
    CallIndex,
    ImportWork,
    RunState,
    Submission,
    Visit,
)
from tests.integration.importing.conftest import wide

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]

ROOT = Path(__file__).parents[3]
PATIENCE_S = 300
STEPS = ("Reading the file", "Checking the visits", "Making the rows", "Storing")
VISITS = MOST_ROWS_AT_ONCE + 200


def start_worker() -> subprocess.Popen[bytes]:
    before, _, _ = os.environ["DATABASE_URL"].rpartition("/")
    return subprocess.Popen(
        [sys.executable, "manage.py", "procrastinate", "worker", "--queues", "importing",
         "--one-shot"],
        cwd=ROOT,
        env={
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "deploy.settings.test",
            "DATABASE_URL": f"{before}/{connection.settings_dict['NAME']}",
        },
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )  # fmt: skip


def take_up() -> None:
    """The periodic task, without waiting until the dead worker's silence is noticed."""
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM procrastinate_workers")

    async def now() -> None:
        in_worker = app.with_connector(app.connector.get_worker_connector())
        async with in_worker.open_async():
            await take_up_stalled(SimpleNamespace(app=in_worker), timestamp=0)

    asyncio.run(now())


def kill(worker: subprocess.Popen[bytes]) -> None:
    worker.send_signal(signal.SIGKILL)
    worker.wait()
    begun = time.monotonic()
    with connection.cursor() as cursor:
        while time.monotonic() - begun < PATIENCE_S:
            cursor.execute(
                "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
                "AND pid <> pg_backend_pid()"
            )
            if cursor.fetchone()[0] == 0:
                return
            time.sleep(0.01)


@pytest.fixture
def large(transactional_db, program, coordinator):
    """A stored file of many visits, one stop each, over twenty years."""
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE procrastinate_jobs CASCADE")
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


@pytest.mark.parametrize("seed", range(3))
def test_nothing_or_all_of_it(large, coordinator, seed, record_property):
    rng = random.Random(seed)
    run = ask(coordinator, large.pk, ImportWork.COMMIT)
    for step in rng.sample(STEPS, 2):
        worker = start_worker()
        begun = time.monotonic()
        while time.monotonic() - begun < PATIENCE_S and worker.poll() is None:
            run.refresh_from_db()
            if run.step == step:
                break
            time.sleep(0.005)
        time.sleep(rng.uniform(0, 0.3))
        kill(worker)
        run.refresh_from_db()
        record_property(f"killed in {step}", f"at {run.step} {run.done}, {run.state}")
        if run.state == RunState.DONE:
            break
        assert rows() == [0, 0, 0]
        take_up()
    start_worker().wait(PATIENCE_S)
    run.refresh_from_db()
    assert run.state == RunState.DONE, run.problem
    large.refresh_from_db()
    assert large.visit_count == VISITS
    assert rows()[:2] == [VISITS, VISITS]
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE procrastinate_jobs CASCADE")
