"""A file that was imported: what became of its visits, undoing it, importing it again."""

import uuid
from functools import partial

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from accounts.access import Permission, ProgramRequest, needs
from surveys.importing.problems import ImportRefusedError, UnreadableFileError
from surveys.importing.runs import import_of, is_large, latest_run_of
from surveys.importing.undoing import enqueue_undo, undo_import, visits_left
from surveys.importing.uploads import import_again
from surveys.language import said, said_of
from surveys.models import RunKind, SpreadsheetImport, VisitState
from surveys.visits.exceptions import NoRoomLeft, ReasonMissing
from surveys.visits.sheet.cells import storable

_LONGEST_REASON = 500


def done_page(
    request: ProgramRequest, row: SpreadsheetImport, *, error: str = "", status: int = 200
) -> HttpResponse:
    counts = visits_left(request.membership, row)
    run = latest_run_of(row)
    not_undone = run is not None and run.kind == RunKind.UNDO_IMPORT and row.undone_at is None
    return render(
        request,
        "importing/done.html",
        {
            "section": "import",
            "row": row,
            "waiting": counts[VisitState.SUBMITTED],
            "accepted": counts[VisitState.ACCEPTED],
            "error": error,
            "problem": run.problem if not_undone else "",
            "reason": request.POST.get("reason", ""),
        },
        status=status,
    )


@require_POST
@needs(Permission.MANAGE)
def undo(request: ProgramRequest, upload: uuid.UUID) -> HttpResponse:
    """Set all visits of an import aside."""
    member = request.membership
    reason = storable(request.POST.get("reason", ""))[:_LONGEST_REASON]
    large = is_large(import_of(member, upload).visit_count)
    try:
        if large:
            enqueue_undo(member, upload, reason=reason)
        else:
            visits = undo_import(member, upload, reason=reason)
    except ReasonMissing as error:
        return done_page(request, import_of(member, upload), error=str(error), status=400)
    except ImportRefusedError as error:
        messages.error(request, str(error))
    else:
        if not large:
            messages.success(
                request,
                said_of("One visit was set aside.", "{number} visits were set aside.", visits),
            )
    return redirect("web:import_preview", program=member.program.slug, upload=upload)


@require_POST
@needs(Permission.MANAGE)
def again(request: ProgramRequest, upload: uuid.UUID) -> HttpResponse:
    """Open the file of an import that was undone, to import it once more."""
    member = request.membership
    go_to = partial(redirect, program=member.program.slug)
    try:
        row = import_again(member, upload)
    except (ImportRefusedError, UnreadableFileError, NoRoomLeft) as error:
        messages.error(request, str(error))
        return go_to("web:import_preview", upload=upload)
    messages.info(
        request,
        said("“{file_name}” is open again. Check it, then import it.", file_name=row.file_name),
    )
    return go_to("web:import_columns", upload=row.pk)
