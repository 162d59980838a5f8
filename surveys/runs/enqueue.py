"""Queueing runs for the worker, and finding those that were queued."""

from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone
from procrastinate.contrib.django import app
from procrastinate.contrib.django.models import ProcrastinateJob

from surveys.language import said
from surveys.models import UNDER_WAY, BackgroundRun, RunKind, RunState
from surveys.runs.kinds import FACTS, task_name
from surveys.runs.work import fail


def enqueue(
    kind: RunKind,
    program_id: int,
    *,
    subject: str,
    asked_by: Any = None,
    options: dict[str, Any] | None = None,
    after_s: int = 0,
) -> BackgroundRun:
    """Store a run and hand it to the worker, both or neither.

    To be called in the transaction that has checked whether it may run. Raises IntegrityError
    where a run for the same subject is under way.
    """
    facts = FACTS[kind]
    with transaction.atomic():
        run = BackgroundRun.objects.create(
            kind=kind,
            program_id=program_id,
            subject=subject,
            asked_by=asked_by,
            options=options or {},
        )
        task = app.configure_task(
            task_name(kind),
            queue=facts.queue,
            lock=f"{facts.lock} of program {program_id}" if facts.lock else None,
            schedule_in={"seconds": after_s} if after_s else None,
        )
        run.job_id = task.defer(run_id=run.pk)
        run.save(update_fields=["job_id"])
    return run


def enqueue_unless_queued(
    kind: RunKind, program_id: int, *, subject: str, after_s: int = 0
) -> BackgroundRun:
    """The run that waits already, else a new one.

    A waiting run is locked until the transaction ends, so that it begins after the change that
    asked for it can be seen.
    """
    runs = BackgroundRun.objects.filter(
        program=program_id, subject=subject, state=RunState.QUEUED
    ).select_for_update()
    with transaction.atomic():
        give_up_lost(program_id, subject)
        queued = runs.first()
        if queued is not None:
            return queued
        try:
            return enqueue(kind, program_id, subject=subject, after_s=after_s)
        except IntegrityError:
            # Another transaction asked in the same moment.
            return runs.get()


def another_is_due(run: BackgroundRun) -> bool:
    """Whether another run for the same subject waits only for this one."""
    queued = BackgroundRun.objects.filter(
        program=run.program_id, subject=run.subject, state=RunState.QUEUED
    )
    due = Q(scheduled_at=None) | Q(scheduled_at__lte=timezone.now())
    return ProcrastinateJob.objects.filter(due, pk__in=queued.values("job_id")).exists()


def latest_run(program_id: int, subject: str) -> BackgroundRun | None:
    """The run queued last for a subject. A run whose job is gone has ended by now."""
    give_up_lost(program_id, subject)
    return BackgroundRun.objects.filter(program=program_id, subject=subject).first()


def current_run(program_id: int, subject: str) -> BackgroundRun | None:
    """The latest run for a subject, if it is under way."""
    run = latest_run(program_id, subject)
    return run if run is not None and run.under_way else None


def give_up_lost(program_id: int | None = None, subject: str | None = None) -> int:
    """End runs whose job is gone: they would never end, and keep others from beginning.

    Of one subject, of one program or of all programs. Returns how many.
    """
    job = ProcrastinateJob.objects.filter(pk=OuterRef("job_id"), status__in=["todo", "doing"])
    runs = BackgroundRun.objects.filter(~Exists(job), state__in=UNDER_WAY)
    if program_id is not None:
        runs = runs.filter(program=program_id)
    if subject is not None:
        runs = runs.filter(subject=subject)
    lost = list(runs)
    for run in lost:
        nothing_done = FACTS[RunKind(run.kind)].nothing_done
        fail(
            run,
            said(
                "The work stopped before it was finished. {nothing_done}",
                nothing_done=nothing_done,
            ),
        )
    return len(lost)
