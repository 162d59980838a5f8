"""A worker of the tests: the command that `run_workers` starts, in a process of its own.

It is forked from a process that has imported this module, and with it the site and its tasks:
that is four seconds of work, and the tests that kill workers start some twenty. The start of real
workers has tests of its own (`tests/integration/runs/test_workers.py`).
"""

import multiprocessing
import os
import time
from importlib import import_module
from multiprocessing.context import ForkServerProcess

import django
from django.apps import apps
from django.conf import settings
from django.core.management import execute_from_command_line
from django.db import connection

PATIENCE_S = 1200
# Of its connections to the database.
_NAME = "worker of the tests"
_FORKS = multiprocessing.get_context("forkserver")
_FORKS.set_forkserver_preload([__name__])

if not apps.ready:
    django.setup()
# And what is only imported by whoever fits or prints.
for name in (*settings.PROCRASTINATE_IMPORT_PATHS, "scipy.optimize", "scipy.stats", "surveys.pdf"):
    import_module(name)


def start_worker(queue: str) -> ForkServerProcess:
    """Works for the test database; ends by itself when no job waits."""
    worker = _FORKS.Process(target=_work, args=(queue, connection.settings_dict["NAME"]))
    worker.start()
    return worker


def work_off(queue: str) -> None:
    """Start a worker, and wait until nothing is left to do."""
    worker = start_worker(queue)
    worker.join(PATIENCE_S)
    assert not worker.is_alive()


def kill(worker: ForkServerProcess) -> None:
    worker.kill()
    worker.join()
    # The server needs a moment to see that its connections are gone. Others may be open: a thread
    # of the tests' own server keeps one.
    with connection.cursor() as cursor:
        begun = time.monotonic()
        while time.monotonic() - begun < PATIENCE_S:
            cursor.execute(
                "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
                "AND application_name = %s",
                [_NAME],
            )
            if cursor.fetchone()[0] == 0:
                return
            time.sleep(0.01)


def _work(queue: str, database: str) -> None:
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(nowhere, stream)
    os.environ["PGAPPNAME"] = _NAME
    connection.settings_dict["NAME"] = database
    options = ["--queues", queue, "--one-shot"]
    execute_from_command_line(["manage.py", "procrastinate", "--skip-checks", "worker", *options])
