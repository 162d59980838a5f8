"""A run in the worker: begun, carried out, finished or failed.

A worker that is killed leaves its run as it was; `tasks.take_up_stalled` gives the job to the next
one, whose attempt has a higher number. From then on the run is that attempt's alone: a worker that
was only thought dead can neither finish nor fail it, nor end the job.
"""

import contextlib
import logging
import time
from collections.abc import Callable
from typing import Any

import pghistory
from django.core.exceptions import PermissionDenied
from django.db.models import F, QuerySet
from django.utils import timezone
from procrastinate import BaseRetryStrategy, JobContext, RetryDecision
from procrastinate.contrib.django import app
from procrastinate.jobs import Job
from procrastinate.tasks import Task

from surveys import dates, disk
from surveys.database_away import is_away
from surveys.language import gettext, said
from surveys.models import UNDER_WAY, BackgroundRun, RunKind, RunState
from surveys.runs.kinds import FACTS, task_name
from surveys.runs.progress import Progress

log = logging.getLogger(__name__)

Work = Callable[[BackgroundRun, Progress], None]

RETRY_AFTER_S = 5
# A run that takes its worker down with it, for want of memory say, is begun no more than this. A
# dead worker is noticed after half a minute to a minute, so this is about half an hour: whatever
# else keeps killing workers or the database should be over by then.
MOST_ATTEMPTS = 30
# How often a worker that was thought dead looks whether its successor is done.
_LOOK_EVERY_S = 5.0


class RunOverError(Exception):
    """The run was given up meanwhile, or another worker has taken it up: keep nothing of it."""

    def __init__(self) -> None:
        super().__init__("This was stopped, or another worker took over. Nothing was saved.")


class _Retry(BaseRetryStrategy):
    """As often as a kind says; while the database is away, as if the worker had been killed."""

    def __init__(self, tries: int) -> None:
        self.tries = tries

    def get_retry_decision(self, *, exception: BaseException, job: Job) -> RetryDecision | None:
        if job.attempts + 1 >= _tries_after(exception, self.tries):
            return None
        return RetryDecision(retry_in={"seconds": RETRY_AFTER_S})


def _tries_after(error: BaseException, tries: int) -> int:
    return MOST_ATTEMPTS if is_away(error) else tries


def carries_out(
    kind: RunKind, *, refusals: tuple[type[Exception], ...] = ()
) -> Callable[[Work], Task]:
    """Register what a kind of run does, as a task of the worker.

    The work calls `finish` in the transaction that stores its result. `refusals` are exceptions
    whose sentence is for whoever asked; anything else is tried again.
    """

    def register(work: Work) -> Task:
        facts = FACTS[kind]

        @app.task(
            name=task_name(kind),
            queue=facts.queue,
            pass_context=True,
            retry=_Retry(facts.tries),
        )
        def carry_out(context: JobContext, *, run_id: int) -> None:
            run = begin(run_id, context.job.attempts + 1)
            if run is not None:
                _carry_out(run, work, refusals)
                _leave_job_to_successor(run)

        return carry_out

    return register


def begin(run_id: int, attempt: int) -> BackgroundRun | None:
    """The run, now running; None when it is over, or has broken too many workers."""
    now = timezone.now()
    BackgroundRun.objects.filter(pk=run_id, state__in=UNDER_WAY).update(
        state=RunState.RUNNING,
        attempts=attempt,
        step="",
        done=0,
        total=0,
        started_at=now,
        reported_at=now,
    )
    run = (
        BackgroundRun.objects.select_related("program", "asked_by")
        .filter(pk=run_id, state=RunState.RUNNING, attempts=attempt)
        .first()
    )
    if run is not None and attempt > MOST_ATTEMPTS:
        fail(
            run,
            said(
                "Its worker ended {number} times before this was done. {nothing_done} Tell the "
                "person who runs this site; it may lack memory.",
                number=MOST_ATTEMPTS,
                nothing_done=_nothing_done(run),
            ),
        )
        return None
    return run


def note(run: BackgroundRun, result: dict[str, Any]) -> None:
    """Keep what is known of the result before the end."""
    _own(run).update(result=result)


def finish(run: BackgroundRun, result: Any = None) -> None:
    """Mark a run as done, in the transaction of what it did. Raises RunOverError."""
    finished = _own(run).update(
        state=RunState.DONE,
        result=result,
        done=F("total"),
        step="",
        problem="",
        finished_at=timezone.now(),
    )
    if not finished:
        raise RunOverError


def fail(run: BackgroundRun, problem: str, state: RunState = RunState.FAILED) -> None:
    """End a run without a result; `problem` is a sentence. Nothing where it is over already."""
    _own(run).update(state=state, problem=problem, step="", finished_at=timezone.now())


def _own(run: BackgroundRun) -> QuerySet[BackgroundRun]:
    """The row of a run, as long as it is under way and of this attempt."""
    return BackgroundRun.objects.filter(pk=run.pk, state__in=UNDER_WAY, attempts=run.attempts)


def _carry_out(run: BackgroundRun, work: Work, refusals: tuple[type[Exception], ...]) -> None:
    author = (
        pghistory.context(user=run.asked_by_id) if run.asked_by_id else contextlib.nullcontext()
    )
    try:
        with author, dates.using(run.program.date_style), Progress(run) as progress:
            work(run, progress)
    except RunOverError as over:
        log.warning("Run %s, %s: %s", run.pk, run, over)
    except refusals as refusal:
        fail(run, str(refusal), RunState.REFUSED)
    except PermissionDenied:
        fail(
            run,
            gettext("The person who asked for this no longer coordinates the program."),
            RunState.REFUSED,
        )
    except Exception as error:
        log.exception("Run %s broke off: %s", run.pk, run)
        if disk.is_full(error):
            fail(run, f"{disk.full_words()} {_nothing_done(run)}")
            return
        # What a successor tidied away is none of its failures.
        if not _has_successor(run):
            _try_again_or_fail(run, error)
            raise


def _has_successor(run: BackgroundRun) -> bool:
    under_way = BackgroundRun.objects.filter(pk=run.pk, state__in=UNDER_WAY)
    return under_way.exclude(attempts=run.attempts).exists()


def _leave_job_to_successor(run: BackgroundRun) -> None:
    """Wait until another attempt that is under way is over. Both have the same job, and the queue
    library ends it for whoever returns first: the run would have no job, and be given up."""
    while _has_successor(run):
        time.sleep(_LOOK_EVERY_S)


def _try_again_or_fail(run: BackgroundRun, error: Exception) -> None:
    tries = _tries_after(error, FACTS[RunKind(run.kind)].tries)
    if run.attempts < tries:
        _own(run).update(state=RunState.QUEUED, step="")
        return
    stopped = gettext("It stopped.")
    if tries > 1:
        stopped = said("It stopped after {tries} tries.", tries=tries)
    tell = gettext(
        "Tell the person who runs this site; the log of its worker says why. Then try again."
    )
    fail(run, f"{stopped} {_nothing_done(run)} {tell}")


def _nothing_done(run: BackgroundRun) -> str:
    return FACTS[RunKind(run.kind)].nothing_done
