"""Background runs in tests: carried out at once, or taken up after a worker was killed."""

import os
from pathlib import Path
from types import SimpleNamespace

from django.db import connection
from django.utils import timezone
from procrastinate.contrib.django import app
from procrastinate.tasks import Task

from accounts.models import Person
from surveys.models import BackgroundRun, Program, RunKind, RunState
from surveys.publishing.publish import subject_of
from surveys.runs.kinds import task_name
from surveys.runs.tasks import take_up_stalled

ROOT = Path(__file__).parents[2]


def task_of(kind: RunKind | str) -> Task:
    """The task that `carries_out` registered."""
    return app.tasks[task_name(kind)]


def carry_out(run: BackgroundRun, attempts: int = 0) -> BackgroundRun:
    """As the worker does, after so many attempts that broke off."""
    context = SimpleNamespace(job=SimpleNamespace(attempts=attempts))
    task_of(run.kind).func(context, run_id=run.pk)
    run.refresh_from_db()
    return run


def make_publishing_run(
    program: Program, season_year: int, asked_by: Person, **fields
) -> BackgroundRun:
    """A run without a job."""
    over = fields.get("state") in (RunState.DONE, RunState.REFUSED, RunState.FAILED)
    return BackgroundRun.objects.create(
        kind=RunKind.PUBLISH,
        program=program,
        subject=subject_of(season_year),
        asked_by=asked_by,
        options={"season_year": season_year, "reason": "", "seen": "", "site_url": ""},
        finished_at=timezone.now() if over else None,
        **fields,
    )


def forget_jobs() -> None:
    """The queue loses what waits in it."""
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE procrastinate_jobs CASCADE")


def worker_environment() -> dict[str, str]:
    """What a process needs to work for the test database."""
    before, _, _ = os.environ["DATABASE_URL"].rpartition("/")
    return {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "deploy.settings.test",
        "DATABASE_URL": f"{before}/{connection.settings_dict['NAME']}",
    }


def take_up() -> None:
    """The task of every minute, without waiting until the dead worker's silence is noticed."""
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM procrastinate_workers")
    take_up_stalled(timestamp=0)
