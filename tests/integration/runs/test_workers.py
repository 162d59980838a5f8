"""The workers as the demo, systemd and compose start them, when the database goes away."""

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.db import connection
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.invitations import invite
from accounts.models import Role
from surveys.operations.heartbeats import silent_workers
from surveys.runs.queues import WORKERS
from tests.support.builders import make_member, make_program
from tests.support.runs import ROOT, forget_jobs, worker_environment
from tests.support.worker_process import PATIENCE_S

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def coordinator(transactional_db):
    forget_jobs()
    yield make_member(make_program(), Role.COORDINATOR)
    forget_jobs()


@pytest.fixture(scope="module")
def workers(django_db_setup, django_db_blocker):
    """One process for all of these: to start it takes longer than what is tried on it."""
    process = subprocess.Popen(
        [sys.executable, "manage.py", "run_workers", "--only", "quick"],
        cwd=ROOT,
        env=worker_environment(),
        stderr=subprocess.DEVNULL,
    )
    yield process
    process.send_signal(signal.SIGTERM)
    assert process.wait(PATIENCE_S) == 0
    with django_db_blocker.unblock(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM procrastinate_workers")
        cursor.execute("DELETE FROM surveys_workerheartbeat")


def wait_for_mail(coordinator, email):
    """Ask for an invitation; return once its mail has gone to the mail server."""
    invite(coordinator, email=email, name="Nell", role=Role.OBSERVER, site_url="https://x.example")
    job = ProcrastinateJob.objects.latest("pk")
    begun = time.monotonic()
    while job.status != "succeeded":
        assert time.monotonic() - begun < PATIENCE_S, job.status
        time.sleep(0.05)
        job.refresh_from_db()
    assert job.attempts == 1


def test_mail_goes_on_after_the_database_was_away(coordinator, workers):
    wait_for_mail(coordinator, "one@example.org")
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity "
            "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
        assert cursor.fetchone()[0] > 0
    wait_for_mail(coordinator, "two@example.org")
    assert workers.poll() is None
    assert "quick" not in silent_workers()


def test_mail_goes_on_after_its_worker_was_killed(coordinator, workers):
    wait_for_mail(coordinator, "one@example.org")
    children = Path(f"/proc/{workers.pid}/task/{workers.pid}/children")
    (child,) = children.read_text("ascii").split()
    os.kill(int(child), signal.SIGKILL)
    wait_for_mail(coordinator, "two@example.org")


def test_every_queue_has_a_worker_and_one_only():
    text = "".join(path.read_text("utf-8") for path in ROOT.glob("surveys/**/*.py"))
    text += "".join(path.read_text("utf-8") for path in ROOT.glob("accounts/**/*.py"))
    named = {name.lower() for name in re.findall(r"\bqueue=([A-Z]+)\b", text)}
    served = [queue for facts in WORKERS.values() for queue in facts.queues]
    assert len(served) == len(set(served))
    assert named <= set(served)
