"""What the worker does about jobs and runs, several times a minute and every night."""

import contextlib
import datetime as dt
import logging
from collections.abc import Mapping

from django.db import IntegrityError, connection, transaction
from django.db.models import Q
from django.db.models.functions import Now
from django.utils import timezone
from procrastinate import JobContext, sql
from procrastinate.contrib.django import app
from procrastinate.contrib.django.models import ProcrastinateJob
from procrastinate.exceptions import AlreadyEnqueued

from surveys.models import UNDER_WAY, BackgroundRun
from surveys.runs.clock import forget_wrong_moments
from surveys.runs.enqueue import give_up_lost
from surveys.runs.queues import SHORT

log = logging.getLogger(__name__)

# A worker says every ten seconds that it is alive.
SILENT = dt.timedelta(seconds=30)
LOOK_AGAIN_S = 12
# With the seconds at the end. A job of a dead worker waits for the silence, this and the second
# look: 62 s at most.
_EVERY_20_S = "* * * * * */20"
KEEP_JOBS = dt.timedelta(days=7)
# They may be tried again, and operators see them for a week. Letters are sealed, yet not for ever.
KEEP_FAILED = dt.timedelta(days=30)
KEEP_RUNS = dt.timedelta(days=90)


@app.periodic(cron=_EVERY_20_S)
@app.task(name="runs.take_up_stalled", queue=SHORT, queueing_lock="take up stalled jobs")
def take_up_stalled(timestamp: int) -> None:
    """Jobs whose worker was killed, and says no more that it is alive, go to the next worker."""
    forget_wrong_moments()
    _give_away({})
    seen = silent_workers()
    if seen:
        _look_again(seen)
    give_up_lost()


@app.task(name="runs.take_up_silent", queue=SHORT, queueing_lock="look again at silent workers")
def take_up_silent(signs: dict[str, str]) -> None:
    """Those of workers that are as silent as they were when `take_up_stalled` looked: `signs` has
    the moment, in ISO 8601, of the last sign of life of each."""
    _give_away({int(worker): dt.datetime.fromisoformat(at) for worker, at in signs.items()})


def _look_again(seen: Mapping[int, dt.datetime]) -> None:
    """A job of its own, since one that slept would keep a place from other short tasks."""
    later = take_up_silent.configure(schedule_in={"seconds": LOOK_AGAIN_S})
    # One that waits still looks for the same workers, or the next one does.
    with contextlib.suppress(AlreadyEnqueued), transaction.atomic():
        later.defer(signs={str(worker): at.isoformat() for worker, at in seen.items()})


def _give_away(silent: Mapping[int, dt.datetime]) -> None:
    for job in put_back_stalled(silent):
        log.warning("%s lost its worker and is begun again.", job)


def silent_workers() -> dict[int, dt.datetime]:
    """Workers that hold jobs and, by their last sign of life, are dead: how long ago it was, or
    that it has yet to come. A clock that jumps makes all of them look so for ten seconds, so
    whoever asks looks again: a dead one's sign stays the same."""
    silent = Q(worker__last_heartbeat__lt=Now() - SILENT)
    to_come = Q(worker__last_heartbeat__gt=Now() + SILENT)
    jobs = ProcrastinateJob.objects.filter(silent | to_come, status="doing")
    return dict(jobs.values_list("worker", "worker__last_heartbeat"))


@transaction.atomic
def put_back_stalled(silent: Mapping[int, dt.datetime]) -> list[ProcrastinateJob]:
    """Let other workers have the jobs of dead ones. Returns the jobs as they were.

    Dead are those that gave no sign of life since `silent` was asked, and those that are listed no
    more. Rows of jobs are locked before they are judged, and those that another sweep has locked
    are skipped: a job that a second worker has in hand by now is not given away again.
    """
    dead = Q(worker=None)
    for worker, sign in silent.items():
        dead |= Q(worker=worker, worker__last_heartbeat=sign)
    stalled = ProcrastinateJob.objects.select_for_update(skip_locked=True, of=["self"]).filter(
        dead, status="doing"
    )
    jobs = list(stalled)
    for job in jobs:
        try:
            with transaction.atomic():
                _put_back(job)
        except IntegrityError:
            # Of tasks of every minute one may wait at a time, and it does. One row that cannot be
            # put back must not keep all others from it.
            _drop(job)
    return jobs


def _put_back(job: ProcrastinateJob) -> None:
    facts = {
        "job_id": job.pk,
        # At once. A moment could be one that a clock set wrong for a while names.
        "retry_at": None,
        "new_priority": None,
        "new_queue_name": None,
        "new_lock": None,
    }
    with connection.cursor() as cursor:
        cursor.execute(sql.queries["retry_job"], facts)


def _drop(job: ProcrastinateJob) -> None:
    facts = {"job_id": job.pk, "status": "aborted", "delete_job": True}
    with connection.cursor() as cursor:
        cursor.execute(sql.queries["finish_job"], facts)


@app.periodic(cron="20 4 * * *")
@app.task(
    name="runs.clean_up", queue=SHORT, queueing_lock="clean up runs and jobs", pass_context=True
)
async def clean_up(context: JobContext, timestamp: int) -> None:
    """Forget what ended long ago. Looking for stalled jobs alone is three jobs a minute."""
    hour = dt.timedelta(hours=1)
    jobs = context.app.job_manager
    await jobs.delete_old_jobs(nb_hours=KEEP_JOBS // hour)
    await jobs.delete_old_jobs(nb_hours=KEEP_FAILED // hour, include_failed=True)
    ended = BackgroundRun.objects.exclude(state__in=UNDER_WAY)
    await ended.filter(finished_at__lt=timezone.now() - KEEP_RUNS).adelete()
