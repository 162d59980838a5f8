"""A test run that is killed leaves nothing that the next one could meet."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.db import connection

pytestmark = pytest.mark.django_db

ROOT = Path(__file__).parents[2]
PATIENCE_S = 180


def begin(test: str, report: Path) -> subprocess.Popen[bytes]:
    """A real test run in a process of its own; in its own group, as a shell would begin it."""
    run = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider"]
    # This run may be a worker of pytest-xdist; the new one is not.
    environment = {
        name: text for name, text in os.environ.items() if not name.startswith("PYTEST_XDIST")
    }
    with log_of(report).open("wb") as log:
        return subprocess.Popen(
            [*run, f"tests/support/killed_run.py::{test}"],
            cwd=ROOT,
            env=environment | {"KILLED_RUN_REPORT": str(report)},
            stdout=log,
            stderr=log,
        )


def log_of(report: Path) -> Path:
    return report.with_suffix(".log")


def wait_for(report: Path, run: subprocess.Popen[bytes]) -> dict:
    deadline = time.monotonic() + PATIENCE_S
    while not report.exists():
        assert run.poll() is None, log_of(report).read_text("utf-8")
        assert time.monotonic() < deadline
        time.sleep(0.05)
    return json.loads(report.read_text("utf-8"))


def databases() -> set[str]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT datname FROM pg_database")
        return {name for (name,) in cursor}


def is_alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


def test_the_next_run_meets_nothing_of_one_that_was_killed(tmp_path):
    """What the killed run began still writes to its database, and is not asked to stop."""
    run = begin("test_never_ends", tmp_path / "killed.json")
    killed = wait_for(tmp_path / "killed.json", run)
    try:
        run.send_signal(signal.SIGKILL)
        run.wait()
        assert killed["database"] in databases()
        report = tmp_path / "next.json"
        following = begin("test_finds_an_empty_database_to_itself", report)
        assert following.wait(timeout=PATIENCE_S) == 0, log_of(report).read_text("utf-8")
        assert is_alive(killed["intruder"])
    finally:
        os.kill(killed["intruder"], signal.SIGKILL)
    after = json.loads(report.read_text("utf-8"))
    assert after["database"] != killed["database"]
    assert databases().isdisjoint({killed["database"], after["database"]})
    # The run that lives kept its own.
    assert connection.settings_dict["NAME"] in databases()
