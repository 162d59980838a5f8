"""Large files: the worker reads, checks, imports and undoes them. Carried out in `tasks`.

Small files are checked and imported at once, within the request.
"""

from __future__ import annotations

import uuid

from django.db import transaction
from django.http import Http404

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.importing.problems import ImportRefusedError
from surveys.language import filled, gettext, said
from surveys.models import BackgroundRun, RunKind, SpreadsheetImport
from surveys.runs.enqueue import current_run, enqueue, latest_run

# A request may take some seconds; on two busy cores a thousand rows take about six.
MOST_ROWS_AT_ONCE = 1_000


def is_large(row_count: int) -> bool:
    return row_count > MOST_ROWS_AT_ONCE


def import_of(member: Membership, upload_id: uuid.UUID | str) -> SpreadsheetImport:
    """The row of an import without its file. Raises Http404."""
    require(member, Permission.MANAGE)
    rows = SpreadsheetImport.objects.defer("content").select_related("uploaded_by", "undone_by")
    row = rows.filter(program=member.program, pk=upload_id).first()
    if row is None:
        raise Http404(gettext("There is no such import in this program."))
    return row


def latest_run_of(row: SpreadsheetImport) -> BackgroundRun | None:
    """The run queued last for it."""
    return latest_run(row.program_id, subject_of(row))


def check_idle(row: SpreadsheetImport) -> None:
    """Raises ImportRefusedError while the worker has the file in hand."""
    run = current_run(row.program_id, subject_of(row))
    if run is not None:
        text = {
            RunKind.READ_IMPORT: gettext("“{file_name}” is being read. Wait until that is done."),
            RunKind.CHECK_IMPORT: gettext(
                "“{file_name}” is being checked. Wait until that is done."
            ),
            RunKind.IMPORT: gettext("“{file_name}” is being imported. Wait until that is done."),
            RunKind.UNDO_IMPORT: gettext(
                "The import of “{file_name}” is being undone. Wait until that is done."
            ),
        }[RunKind(run.kind)]
        raise ImportRefusedError(filled(text, {"file_name": row.file_name}))


def enqueue_import(member: Membership, upload_id: uuid.UUID | str, kind: RunKind) -> BackgroundRun:
    """Queue a file to be read, checked or imported. Raises Http404, ImportRefusedError."""
    require(member, Permission.MANAGE)
    with transaction.atomic():
        row = import_of(member, upload_id)
        SpreadsheetImport.objects.select_for_update().only("pk").get(pk=row.pk)
        row.refresh_from_db(fields=["committed_at"])
        if row.committed_at is not None:
            raise ImportRefusedError(
                said("“{file_name}” was imported already.", file_name=row.file_name)
            )
        return hand_over(member, row, kind)


def hand_over(
    member: Membership, row: SpreadsheetImport, kind: RunKind, **options: str
) -> BackgroundRun:
    """Queue work on a file that the caller has locked. Raises ImportRefusedError."""
    check_idle(row)
    return enqueue(
        kind,
        member.program_id,
        subject=subject_of(row),
        asked_by=member.person,
        options={"upload": str(row.pk), **options},
    )


def subject_of(row: SpreadsheetImport) -> str:
    return f"import {row.pk}"
