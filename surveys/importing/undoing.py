"""Undoing an import as a whole. Nothing is deleted: its visits are set aside, each with a step."""

import uuid

from django.db import transaction
from django.utils import timezone

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.importing.problems import ImportRefusedError
from surveys.importing.runs import import_of
from surveys.language import gettext, said
from surveys.models import SpreadsheetImport, Visit, VisitState
from surveys.visits.exceptions import ReasonMissing
from surveys.visits.many import set_aside_many


@transaction.atomic
def undo_import(member: Membership, upload_id: uuid.UUID | str, *, reason: str) -> int:
    """Set the visits of an import aside, accepted ones too; the file may be imported again.

    The number of visits. Raises Http404, ReasonMissing, ImportRefusedError.
    """
    require(member, Permission.MANAGE)
    import_of(member, upload_id)
    row = SpreadsheetImport.objects.select_for_update().defer("content").get(pk=upload_id)
    if row.committed_at is None:
        raise ImportRefusedError(gettext("This file was not imported."))
    if row.undone_at is not None:
        raise ImportRefusedError(gettext("This import is undone already."))
    if not reason.strip():
        raise ReasonMissing
    note = said(
        "The import of “{file_name}” was undone. {reason}",
        file_name=row.file_name,
        reason=reason.strip(),
    )
    number = set_aside_many(member, Visit.objects.filter(imported__upload=row), note=note)
    row.undone_at, row.undone_by = timezone.now(), member.person
    row.save(update_fields=["undone_at", "undone_by"])
    return number


def visits_left(member: Membership, row: SpreadsheetImport) -> dict[str, int]:
    """How many visits of an import are in which state, but for those that are set aside."""
    require(member, Permission.MANAGE)
    states = Visit.objects.filter(imported__upload=row).values_list("state", flat=True)
    counts = {VisitState.SUBMITTED: 0, VisitState.ACCEPTED: 0}
    for state in states:
        if state in counts:
            counts[state] += 1
    return counts
