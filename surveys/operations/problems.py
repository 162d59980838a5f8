"""What somebody should look at, each in a sentence: for the screens and for alerts."""

from __future__ import annotations

import datetime as dt
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.core.files.storage import default_storage
from django.utils import timezone

from accounts.models import SecurityAct
from accounts.security_log import FAILED_SIGN_INS
from surveys import replica
from surveys.language import gettext, said
from surveys.models import OperationKind
from surveys.operations.failures import failed_jobs, failed_runs
from surveys.operations.heartbeats import silent_workers
from surveys.operations.queue_state import queue_states
from surveys.operations.readiness import media_is_writable, missing_migrations
from surveys.operations.records import latest_operation
from surveys.runs.kinds import run_name


@dataclass(frozen=True, kw_only=True)
class Problem:
    """`key` stays the same for as long as the problem does. `tell` is the address of a person who
    is told beside the operators: their own mail did not go out."""

    key: str
    words: str
    tell: str | None = None


@dataclass(frozen=True, kw_only=True)
class DiskState:
    free: int
    total: int

    @property
    def percent_free(self) -> float:
        return 100 * self.free / self.total


def disk_state() -> DiskState:
    """Of the disk where uploaded files stay, or where they pass on their way to an object storage.
    Raises OSError."""
    passing = hasattr(default_storage, "bucket_name")
    usage = shutil.disk_usage(tempfile.gettempdir() if passing else Path(settings.MEDIA_ROOT))
    return DiskState(free=usage.free, total=usage.total)


def problems() -> list[Problem]:
    """Everything, for operators."""
    return [*site_problems(), *_failures(), *_sign_ins()]


def site_problems() -> list[Problem]:
    """What concerns everybody on this site, and tells nothing of a program."""
    return [*_migrations(), *_workers(), *_queues(), *_replica(), *_files(), *_backups()]


def _migrations() -> Iterator[Problem]:
    missing = missing_migrations()
    if missing:
        yield Problem(
            key="migrations",
            words=said(
                "The database is older than the software: {names}. Run: manage.py migrate",
                names=", ".join(missing),
            ),
        )


def _workers() -> Iterator[Problem]:
    for name in silent_workers():
        yield Problem(
            key=f"worker {name}",
            words=said("The worker “{name}” is not running, so its work is waiting.", name=name),
        )


def _queues() -> Iterator[Problem]:
    for queue in queue_states():
        if queue.is_stuck:
            yield Problem(
                key=f"queue {queue.name}",
                words=said(
                    "The queue “{name}” is stuck: a job has been waiting or running for "
                    "{minutes} minutes.",
                    name=queue.name,
                    minutes=max(queue.oldest, queue.longest) // dt.timedelta(minutes=1),
                ),
            )


def _replica() -> Iterator[Problem]:
    if replica.is_set() and not replica.follower.has():
        yield Problem(
            key="replica",
            words=gettext(
                "The read replica does not answer or is behind, so the primary database answers "
                "all reads."
            ),
        )


def _files() -> Iterator[Problem]:
    if not media_is_writable():
        yield Problem(
            key="media",
            words=said(
                "No file can be saved in {folder}, so photos and recordings are refused.",
                folder=getattr(default_storage, "bucket_name", settings.MEDIA_ROOT),
            ),
        )
        return
    disk = disk_state()
    if disk.percent_free < settings.LEAST_DISK_PERCENT:
        yield Problem(
            key="disk",
            words=said(
                "The disk for uploaded files is nearly full: {percent}% is free.",
                percent=f"{disk.percent_free:.1f}",
            ),
        )


def _backups() -> Iterator[Problem]:
    if settings.BACKUP_HOURS:
        yield from _too_old(
            OperationKind.BACKUP, dt.timedelta(hours=settings.BACKUP_HOURS), is_expected=True
        )
    yield from _too_old(
        OperationKind.RESTORE_DRILL, dt.timedelta(days=settings.DRILL_DAYS), is_expected=False
    )
    for kind in OperationKind:
        latest = latest_operation(kind)
        if latest is not None and not latest.ok:
            yield Problem(
                key=f"failed {kind}",
                words=said(
                    "{kind}: the latest one failed. {detail}", kind=kind.label, detail=latest.detail
                ).strip(),
            )


def _sign_ins() -> Iterator[Problem]:
    """Somebody tries one account after the other; what a forgetful person does is far below."""
    since = timezone.now() - dt.timedelta(hours=1)
    tried = SecurityAct.objects.filter(act__in=FAILED_SIGN_INS, at__gt=since)
    number = tried.values("person").distinct().count()
    if number >= settings.FAILED_SIGN_INS > 0:
        yield Problem(
            key="sign-ins",
            words=said(
                "Sign-ins failed at {number} accounts within the last hour: someone may be trying "
                "passwords. The log of requests has the addresses they come from.",
                number=number,
            ),
        )


def _too_old(kind: OperationKind, most: dt.timedelta, *, is_expected: bool) -> Iterator[Problem]:
    """`is_expected`: it should have happened by now even if it never has."""
    latest = latest_operation(kind, ok=True)
    if latest is None:
        if is_expected:
            yield Problem(key=f"old {kind}", words=said("{kind}: none yet.", kind=kind.label))
    elif timezone.now() - latest.at > most:
        yield Problem(
            key=f"old {kind}",
            words=said(
                "{kind}: the last successful one is {hours} hours old.",
                kind=kind.label,
                hours=(timezone.now() - latest.at) // dt.timedelta(hours=1),
            ),
        )


def _failures() -> Iterator[Problem]:
    for run in failed_runs():
        yield Problem(
            key=f"run {run.pk}",
            words=said(
                "{program}, {name}: {problem}",
                program=run.program.name,
                name=run_name(run),
                problem=run.problem,
            ),
        )
    for job in failed_jobs():
        told = (
            gettext("Email was not sent: {words}.") if job.is_mail else gettext("Failed: {words}.")
        )
        yield Problem(key=f"job {job.job}", words=told.format(words=job.words), tell=job.asked_by)
