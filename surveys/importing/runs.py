"""Large files: the worker checks and imports them. Asked for here, done in `tasks`.

Small files are checked and imported at once, within the request.
"""

from __future__ import annotations

import time
import uuid
from types import TracebackType

from django.db import connection, transaction
from django.http import Http404
from django.utils import timezone
from procrastinate.contrib.django import app
from procrastinate.contrib.django.models import ProcrastinateJob

from accounts.access import (
    Permission,
    require,
)
from accounts.models import Membership
from surveys.importing.problems import ImportRefusedError
from surveys.models import (
    ImportRun,
    ImportWork,
    RunState,
    SpreadsheetImport,
)

# The task lives in `tasks`, which knows how to build; here it is known by name.
TASK = "importing.carry_out"
QUEUE = "importing"
UNDER_WAY = (RunState.WAITING, RunState.WORKING)
# A request may take some seconds; on two busy cores a thousand rows take about six.
MOST_ROWS_AT_ONCE = 1_000
_PAUSE_S = 0.5


def is_large(row_count: int) -> bool:
    return row_count > MOST_ROWS_AT_ONCE


def import_of(member: Membership, upload_id: uuid.UUID | str) -> SpreadsheetImport:
    """The row of an import without its file. Raises Http404."""
    require(member, Permission.MANAGE)
    rows = SpreadsheetImport.objects.defer("content").select_related("uploaded_by")
    row = rows.filter(program=member.program, pk=upload_id).first()
    if row is None:
        raise Http404("There is no such import in this program.")
    return row


def last_run(row: SpreadsheetImport) -> ImportRun | None:
    """What was asked for last. One whose job is gone would never end, so it ends here."""
    run = row.runs.first()
    if run is not None and run.state in UNDER_WAY and not _has_job(run):
        what = "checked" if run.work == ImportWork.CHECK else "imported"
        fail(run, f"The work was lost before it was finished. The file was not {what}.")
        run.refresh_from_db()
    return run


def check_idle(row: SpreadsheetImport) -> None:
    """Raises ImportRefusedError while the worker has the file in hand."""
    run = last_run(row)
    if run is not None and run.state in UNDER_WAY:
        what = "checked" if run.work == ImportWork.CHECK else "imported"
        raise ImportRefusedError(f"“{row.file_name}” is being {what}. Wait until that is done.")


def ask(member: Membership, upload_id: uuid.UUID | str, work: ImportWork) -> ImportRun:
    """Have the worker check or import a file. Raises Http404, ImportRefusedError."""
    require(member, Permission.MANAGE)
    with transaction.atomic():
        row = import_of(member, upload_id)
        SpreadsheetImport.objects.select_for_update().only("pk").get(pk=row.pk)
        row.refresh_from_db(fields=["committed_at"])
        if row.committed_at is not None:
            raise ImportRefusedError(f"“{row.file_name}” was imported already.")
        check_idle(row)
        run = ImportRun.objects.create(upload=row, work=work, asked_by=member.person)
        app.configure_task(
            TASK, queue=QUEUE, lock=f"import into program {member.program_id}"
        ).defer(run_id=run.pk)
    return run


def fail(run: ImportRun, problem: str, state: RunState = RunState.FAILED) -> None:
    ImportRun.objects.filter(pk=run.pk, state__in=UNDER_WAY).update(
        state=state, problem=problem, step="", finished_at=timezone.now()
    )


def finish(run: ImportRun, *, found: dict[str, object] | None = None) -> None:
    """Mark a run as done, in the transaction of what it did. Raises ImportRefusedError when
    it was given up meanwhile: then what it did must not be kept."""
    done = ImportRun.objects.filter(pk=run.pk, state__in=UNDER_WAY).update(
        state=RunState.DONE, found=found, step="", problem="", finished_at=timezone.now()
    )
    if not done:
        raise ImportRefusedError("This was given up meanwhile. Nothing was imported.")


def _has_job(run: ImportRun) -> bool:
    return ProcrastinateJob.objects.filter(
        task_name=TASK, args__run_id=run.pk, status__in=["todo", "doing"]
    ).exists()


class Progress:
    """Says how far a run has come, over a connection of its own: the import itself is one
    transaction, of which nobody sees anything before its end."""

    def __init__(self, run: ImportRun) -> None:
        self.run = run
        self.beside = connection.copy()
        self.last = ("", 0.0)

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.beside.close()

    def say(self, step: str, done: int, total: int) -> None:
        """Now and then only: `step` in words, `done` of `total` visits."""
        now = time.monotonic()
        if step == self.last[0] and now - self.last[1] < _PAUSE_S:
            return
        self.last = (step, now)
        with self.beside.cursor() as cursor:
            cursor.execute(
                "UPDATE surveys_importrun SET state = %s, step = %s, done = %s, total = %s "
                "WHERE id = %s AND state = ANY(%s)",
                [RunState.WORKING, step, done, total, self.run.pk, list(UNDER_WAY)],
            )
