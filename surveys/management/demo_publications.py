"""The publications that the demo begins with: asked for, and made while whoever loads it waits."""

import datetime as dt
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from django.core.management.base import CommandError

import surveys
from accounts.models import Role
from surveys.models import BackgroundRun, Program, RunState
from surveys.publishing.closing import last_closed_season
from surveys.publishing.publish import request_publication, subject_of
from surveys.runs.enqueue import current_run
from surveys.runs.queues import LONG
from surveys.runs.tasks import put_back_stalled, silent_workers

PROJECT = Path(surveys.__file__).parents[1]
WORKER = (
    sys.executable, "manage.py", "procrastinate", "--skip-checks", "worker",
    "--queues", LONG, "--concurrency", "1", "--one-shot",
)  # fmt: skip
_LOOK_EVERY_S = 0.3


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
    # Those of workers that were killed on the way.
    put_back_stalled(silent_workers())
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    workers = [
        subprocess.Popen(WORKER, cwd=PROJECT, env=environment)  # noqa: S603 (fixed words)
        for _ in runs
    ]
    try:
        made = _waited_for([run.pk for run in runs], workers, report)
    finally:
        for worker in workers:
            worker.terminate()
        for worker in workers:
            worker.wait()
    missing = [_problem(run) for run in made if run.state != RunState.DONE]
    if missing:
        raise CommandError("\n".join(missing))


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
        line = "; ".join(f"{run.program.slug} {run.done} of {run.total}" for run in runs)
        if line != told:
            told = line
            report(line)
        time.sleep(_LOOK_EVERY_S)


def _problem(run: BackgroundRun) -> str:
    why = run.problem or "Its worker ended before it was done; the lines above say why."
    return f"{run.program.name}, {run.subject}, was not made. {why}"
