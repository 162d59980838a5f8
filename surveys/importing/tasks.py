"""Large imports in the worker."""

from django.core.exceptions import PermissionDenied

from accounts.models import Membership
from surveys.importing.preview import plain_preview
from surveys.importing.problems import ImportRefusedError, UnreadableFileError
from surveys.importing.runs import import_of
from surveys.importing.undoing import undo_import
from surveys.importing.uploads import commit_upload, open_upload, preview_upload, read_upload
from surveys.language import gettext
from surveys.models import BackgroundRun, RunKind
from surveys.runs.progress import Progress
from surveys.runs.work import carries_out, finish

_REFUSALS = (ImportRefusedError, UnreadableFileError)


@carries_out(RunKind.READ_IMPORT, refusals=_REFUSALS)
def read_import(run: BackgroundRun, report: Progress) -> None:
    report(gettext("Reading the file"), 0, 0)
    member = _coordinator(run)
    row = import_of(member, run.options["upload"])
    read_upload(member, row, end=lambda: finish(run))


@carries_out(RunKind.CHECK_IMPORT, refusals=_REFUSALS)
def check_import(run: BackgroundRun, report: Progress) -> None:
    """Work out what the import would do; the preview is the result."""
    report(gettext("Reading the file"), 0, 0)
    member = _coordinator(run)
    upload = open_upload(member, run.options["upload"])
    finish(run, plain_preview(preview_upload(member, upload, report=report)))


@carries_out(RunKind.IMPORT, refusals=_REFUSALS)
def import_file(run: BackgroundRun, report: Progress) -> None:
    """The import and the end of its run are one transaction, so that a worker that is killed
    leaves nothing half-imported, and the next one begins again."""
    report(gettext("Reading the file"), 0, 0)
    member = _coordinator(run)
    upload = open_upload(member, run.options["upload"])
    commit_upload(member, upload, report=report, end=lambda: finish(run))


@carries_out(RunKind.UNDO_IMPORT, refusals=_REFUSALS)
def undo_file(run: BackgroundRun, report: Progress) -> None:
    """The undo and the end of its run are one transaction, too."""
    member = _coordinator(run)
    undo_import(
        member,
        run.options["upload"],
        reason=run.options["reason"],
        report=report,
        end=lambda: finish(run),
    )


def _coordinator(run: BackgroundRun) -> Membership:
    """Whoever asked. Raises PermissionDenied when they have left the program."""
    members = Membership.objects.select_related("program", "person")
    member = members.filter(program=run.program, person=run.asked_by, active=True).first()
    if member is None:
        raise PermissionDenied
    return member
