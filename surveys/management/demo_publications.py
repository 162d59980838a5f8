"""The publications that the demo begins with: asked for, and made while whoever loads it waits."""

import contextlib
import datetime as dt
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from django.core.management.base import CommandError
from django.db.models import QuerySet
from procrastinate.contrib.django.models import ProcrastinateJob

import surveys
from accounts.models import Role
from surveys.models import BackgroundRun, Program, RunState
from surveys.publishing.closing import last_closed_season
from surveys.publishing.publish import request_publication, subject_of
from surveys.runs.enqueue import current_run
from surveys.runs.queues import LONG
from surveys.runs.tasks import SILENT, put_back_stalled, silent_workers

PROJECT = Path(surveys.__file__).parents[1]
WORKER = (
    sys.executable, "manage.py", "procrastinate", "--skip-checks", "worker",
    "--queues", LONG, "--concurrency", "1", "--one-shot",
)  # fmt: skip
_LOOK_EVERY_S = 0.3
_HEARTBEAT_EVERY_S = 10
# For the end of what they are at once the publications are made: a picture of a recording.
_LONGEST_END_S = 10


def request_missing(
    slugs: Iterable[str], today: dt.date, site_url: str
) -> tuple[BackgroundRun, ...]:
    """Publications of the last season that is over, asked for by a coordinator of each program that
    has none. Returns those that are not made yet."""
    runs = []
    for program in Program.objects.filter(slug__in=slugs, publications=None).order_by("pk"):
        coordinator = program.memberships.filter(role=Role.COORDINATOR).order_by("pk").first()
        season_year = last_closed_season(program, today)
        if coordinator is None or season_year is None:
            raise CommandError(f"{program.name} has no coordinator, or no season that is over.")
        run = current_run(program.pk, subject_of(season_year))
        runs.append(run or request_publication(coordinator, season_year, site_url=site_url))
    return tuple(runs)


def make_all(runs: Sequence[BackgroundRun], report: Callable[[str], None]) -> None:
    """Make the publications that were asked for, each in a worker process of its own, and wait.

    `report` gets a line whenever one has come further. Raises CommandError when one was not made.
    """
    if not runs:
        return
    keys = [run.pk for run in runs]
    _take_from_dead_workers(keys)
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    workers: list[subprocess.Popen] = []
    before = signal.signal(signal.SIGTERM, _leave)
    try:
        workers.extend(
            subprocess.Popen(WORKER, cwd=PROJECT, env=environment)  # noqa: S603 (fixed words)
            for _ in runs
        )
        made = _waited_for(keys, workers, report)
        for worker in workers:
            worker.terminate()
        for worker in workers:
            with contextlib.suppress(subprocess.TimeoutExpired):
                worker.wait(_LONGEST_END_S)
    finally:
        # Whoever interrupts this does not want to wait for what they are at.
        for worker in workers:
            worker.kill()
            worker.wait()
        signal.signal(signal.SIGTERM, before)
    missing = [_problem(run) for run in made if run.state != RunState.DONE]
    if missing:
        raise CommandError("\n".join([*missing, "Run this again; what is there already is kept."]))


def _leave(number: int, _: object) -> None:
    """Whoever ends this process ends its workers, too."""
    sys.exit(128 + number)


def _take_from_dead_workers(keys: Sequence[int]) -> None:
    """A worker that was killed keeps its run until it has been silent for long enough."""
    until = time.monotonic() + SILENT.total_seconds() + _HEARTBEAT_EVERY_S
    running = BackgroundRun.objects.filter(pk__in=keys, state=RunState.RUNNING)
    while time.monotonic() < until and _has_job_at_work(running):
        put_back_stalled(silent_workers())
        time.sleep(_LOOK_EVERY_S)


def _has_job_at_work(runs: QuerySet[BackgroundRun]) -> bool:
    return ProcrastinateJob.objects.filter(pk__in=runs.values("job_id"), status="doing").exists()


def _waited_for(
    keys: Sequence[int], workers: Sequence[subprocess.Popen], report: Callable[[str], None]
) -> list[BackgroundRun]:
    """The runs once all are over, or once nobody works on them any more."""
    told = ""
    while True:
        # Asked first: a worker may finish its run between the two questions.
        at_work = any(worker.poll() is None for worker in workers)
        runs = list(BackgroundRun.objects.select_related("program").filter(pk__in=keys))
        if not at_work or not any(run.under_way for run in runs):
            return runs
        line = "; ".join(map(_how_far, runs))
        if line != told:
            told = line
            report(line)
        time.sleep(_LOOK_EVERY_S)


def _how_far(run: BackgroundRun) -> str:
    return f"{run.program.slug} {f'{run.done} of {run.total}' if run.total else 'begins'}"


def _problem(run: BackgroundRun) -> str:
    why = run.problem or "Its worker ended before it was done; the lines above say why."
    return f"{run.program.name}, {run.subject}, was not made. {why}"
