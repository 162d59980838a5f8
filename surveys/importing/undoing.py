"""Undoing an import as a whole. Nothing is deleted: its visits are set aside, each with a step."""

import uuid
from collections.abc import Callable

from django.db import transaction
from django.utils import timezone

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.importing.problems import ImportRefusedError
from surveys.importing.runs import hand_over, import_of
from surveys.language import gettext, said
from surveys.models import BackgroundRun, RunKind, SpreadsheetImport, Visit, VisitState
from surveys.runs.progress import ReportProgress, no_report
from surveys.visits.exceptions import ReasonMissing
from surveys.visits.many import set_aside_many


@transaction.atomic
def undo_import(
    member: Membership,
    upload_id: uuid.UUID | str,
    *,
    reason: str,
    report: ReportProgress = no_report,
    end: Callable[[], None] | None = None,
) -> int:
    """Set the visits of an import aside, accepted ones too; the file may be imported again. `end`
    is called in the same transaction, when all is written.

    The number of visits. Raises Http404, ReasonMissing, ImportRefusedError.
    """
    row = _undoable(member, upload_id, reason)
    note = said(
        "The import of “{file_name}” was undone. {reason}",
        file_name=row.file_name,
        reason=reason.strip(),
    )
    visits = Visit.objects.filter(imported__upload=row)
    number = set_aside_many(member, visits, note=note, report=report)
    row.undone_at, row.undone_by = timezone.now(), member.person
    row.save(update_fields=["undone_at", "undone_by"])
    if end is not None:
        end()
    return number


@transaction.atomic
def enqueue_undo(member: Membership, upload_id: uuid.UUID | str, *, reason: str) -> BackgroundRun:
    """Have a large import undone by the worker. Raises as `undo_import`."""
    row = _undoable(member, upload_id, reason)
    return hand_over(member, row, RunKind.UNDO_IMPORT, reason=reason)


def _undoable(member: Membership, upload_id: uuid.UUID | str, reason: str) -> SpreadsheetImport:
    """The row, locked, if it can be undone for this reason."""
    require(member, Permission.MANAGE)
    import_of(member, upload_id)
    row = SpreadsheetImport.objects.select_for_update().defer("content").get(pk=upload_id)
    if row.committed_at is None:
        raise ImportRefusedError(gettext("This file was not imported."))
    if row.undone_at is not None:
        raise ImportRefusedError(gettext("This import is undone already."))
    if not reason.strip():
        raise ReasonMissing
    return row


def visits_left(member: Membership, row: SpreadsheetImport) -> dict[str, int]:
    """How many visits of an import are in which state, but for those that are set aside."""
    require(member, Permission.MANAGE)
    states = Visit.objects.filter(imported__upload=row).values_list("state", flat=True)
    counts = {VisitState.SUBMITTED: 0, VisitState.ACCEPTED: 0}
    for state in states:
        if state in counts:
            counts[state] += 1
    return counts
