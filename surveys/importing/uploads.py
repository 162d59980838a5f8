"""A stored upload from its first step to the last. The steps share the stored file."""

import datetime as dt
import hashlib
import uuid
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from django.db import transaction
from django.http import Http404
from django.utils import timezone

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.importing.build import Building, build
from surveys.importing.columns import Choice, MappingError, choice_of, guess, with_explicit
from surveys.importing.commit import Committed, commit
from surveys.importing.fields import Field, fields_of
from surveys.importing.fixes import Fix, fixed, fixes_of, merged
from surveys.importing.gathered import Answers
from surveys.importing.gathering import blank_means_zero
from surveys.importing.layout import Layout
from surveys.importing.preview import Preview, preview
from surveys.importing.problems import ImportRefusedError
from surveys.importing.reading import LIMITS_IN_WORKER, check_archive, takes_long
from surveys.importing.runs import check_idle, enqueue_import, import_of, is_large, subject_of
from surveys.importing.shapes import filled_down, has_gaps, spread, without_totals
from surveys.importing.staging import ReadFile, forget_parts, kept_table, layout_of
from surveys.importing.table import Table
from surveys.language import gettext, said
from surveys.models import BackgroundRun, Program, RunKind, Species, SpreadsheetImport
from surveys.runs.progress import ReportProgress, no_report
from surveys.visits.loading import species_catalog
from surveys.visits.media.quota import check_room
from surveys.visits.sheet.cells import storable

_LONGEST_NAME = 200
_FILES_REMEMBERED = 100
_ANSWERS = ("blank_is_zero", "unnamed_is_zero", "leave_out_known", "fill_down")


@dataclass(frozen=True, kw_only=True)
class Upload:
    """A stored file, read, with what its columns mean so far."""

    row: SpreadsheetImport
    table: Table
    choices: tuple[Choice, ...]
    answers: Answers
    leave_out_known: bool
    fixes: tuple[Fix, ...]
    catalog: Mapping[str, str]
    species_names: Mapping[str, str]
    fields: tuple[Field, ...]

    @property
    def is_large(self) -> bool:
        """Whether checking and importing it is for the worker."""
        return is_large(len(self.table.rows))


def store(
    member: Membership,
    *,
    file_name: str,
    content: bytes,
    at_once: bool = False,
    like: SpreadsheetImport | None = None,
) -> SpreadsheetImport:
    """Keep an uploaded file, read it and guess its columns. A large one is read by the worker, or
    `at_once` for a command, which has the time. `like` is an earlier import of the very same file:
    what was answered for that holds again.

    Raises UnreadableFileError, NoRoomLeft.
    """
    require(member, Permission.MANAGE)
    check_room(member, len(content))
    check_archive(content)
    layout = layout_of(like) if like else Layout()
    if takes_long(content):
        read = ReadFile(content, layout, LIMITS_IN_WORKER) if at_once else None
    else:
        read = ReadFile(content, layout)
    with transaction.atomic():
        row = SpreadsheetImport.objects.create(
            program=member.program,
            uploaded_by=member.person,
            file_name=storable(file_name)[:_LONGEST_NAME] or "spreadsheet",
            content=content,
            sha256=hashlib.sha256(content).hexdigest(),
            columns=like.columns if like else [],
            answers={**like.answers, "again": True} if like else {},
        )
        if read is None:
            enqueue_import(member, row.pk, RunKind.READ_IMPORT)
        else:
            _keep(member, row, read)
    return row


def import_again(member: Membership, upload_id: uuid.UUID | str) -> SpreadsheetImport:
    """Open the kept file of an import that was undone, with the answers that it had.

    Raises Http404, ImportRefusedError, UnreadableFileError, NoRoomLeft.
    """
    row = import_of(member, upload_id)
    if row.undone_at is None:
        raise ImportRefusedError(gettext("This import was not undone."))
    return store(member, file_name=row.file_name, content=bytes(row.content), like=row)


def read_upload(member: Membership, row: SpreadsheetImport, end: Callable[[], None]) -> None:
    """Read a large file in the worker; `end` is called in the transaction that keeps its rows.

    Raises UnreadableFileError.
    """
    read = ReadFile(bytes(row.content), layout_of(row), LIMITS_IN_WORKER)
    with transaction.atomic():
        _keep(member, row, read)
        end()


def _keep(member: Membership, row: SpreadsheetImport, read: ReadFile) -> None:
    """Keep what was read. The columns mean what they did in an earlier file, or what is guessed;
    where somebody chose the layout, they are guessed. Of a file that is imported again they are
    known."""
    table = spread(read.keep(row))
    if "again" in row.answers:
        return
    if "layout" in row.answers:
        row.columns, answers = _guessed(member, table)
        row.answers = {**answers, "layout": row.answers["layout"]}
    else:
        row.columns, row.answers = _as_before(member, table) or _guessed(member, table)
    row.save(update_fields=["columns", "answers"])


def _guessed(member: Membership, table: Table) -> tuple[list[list[str]], dict[str, Any]]:
    catalog, _ = _species(member.program)
    choices = guess(
        table,
        catalog=catalog,
        temperature_unit=member.program.temperature_unit,
        fields=fields_of(member.program),
    )
    return _pairs(table, choices), {
        "blank_is_zero": blank_means_zero(table, choices),
        "unnamed_is_zero": False,
        "leave_out_known": False,
        "fill_down": has_gaps(table, choices),
    }


def _as_before(member: Membership, table: Table) -> tuple[list[list[str]], dict[str, Any]] | None:
    """What the columns of the latest file with the same ones were chosen to mean, with what was
    answered and fixed there for all rows."""
    headers = [storable(header) for header in table.headers]
    earlier = member.program.imports.defer("content").filter(answers__chosen=True)
    for row in earlier[:_FILES_REMEMBERED]:
        if [header for header, _ in row.columns] == headers:
            fixes = [fix.plain for fix in fixes_of(row.answers.get("fixes", ())) if not fix.row]
            answers = {name: row.answers.get(name, False) for name in _ANSWERS}
            return row.columns, {**answers, "fixes": fixes, "as_in": row.file_name}
    return None


def choose_layout(member: Membership, row: SpreadsheetImport, layout: Layout) -> None:
    """Read another sheet, or take the column names from other rows, in the worker if the file is
    large; the columns are guessed again. Raises UnreadableFileError, and ImportRefusedError while
    the worker has the file."""
    require(member, Permission.MANAGE)
    check_idle(row)
    content = bytes(row.content)
    read = None if takes_long(content) else ReadFile(content, layout)
    with transaction.atomic():
        SpreadsheetImport.objects.select_for_update().only("pk").get(pk=row.pk)
        check_idle(row)
        row.columns, row.answers = [], {"layout": layout.plain}
        if read is None:
            row.save(update_fields=["columns", "answers"])
            forget_parts(row)
            enqueue_import(member, row.pk, RunKind.READ_IMPORT)
        else:
            _keep(member, row, read)


def open_upload(member: Membership, upload_id: uuid.UUID | str) -> Upload:
    """The member's program's upload. Raises Http404, UnreadableFileError."""
    require(member, Permission.MANAGE)
    rows = SpreadsheetImport.objects.defer("content")
    row = rows.filter(program=member.program, pk=upload_id).first()
    if row is None:
        raise Http404(gettext("There is no such import in this program."))
    table = spread(kept_table(row))
    catalog, names = _species(member.program)
    fields = fields_of(member.program)
    choices = tuple(_choice(code, catalog, fields) for _, code in row.columns)
    return Upload(
        row=row,
        table=table,
        choices=choices,
        answers=Answers(
            blank_is_zero=bool(row.answers.get("blank_is_zero", True)),
            unnamed_is_zero=bool(row.answers.get("unnamed_is_zero", False)),
            fill_down=bool(row.answers.get("fill_down", False)),
        ),
        fixes=fixes_of(row.answers.get("fixes", ())),
        leave_out_known=bool(row.answers.get("leave_out_known", False)),
        catalog=catalog,
        species_names=names,
        fields=fields,
    )


def remember(
    upload: Upload,
    explicit: Iterable[tuple[str, str]],
    answers: Answers,
    *,
    leave_out_known: bool,
) -> None:
    """Keep what the columns mean. Raises MappingError, or ImportRefusedError while
    the worker has the file in hand, and then changes nothing."""
    check_idle(upload.row)
    choices = with_explicit(
        upload.table, upload.choices, explicit, catalog=upload.catalog, fields=upload.fields
    )
    upload.row.columns = _pairs(upload.table, choices)
    upload.row.answers = {
        **upload.row.answers,
        **asdict(answers),
        "leave_out_known": leave_out_known,
        "chosen": True,
    }
    upload.row.save(update_fields=["columns", "answers"])


def fix_cells(member: Membership, upload: Upload, new: Iterable[Fix]) -> None:
    """Keep how cells are read that could not be read, or that their rows are left out. Raises
    ImportRefusedError while the worker has the file in hand."""
    require(member, Permission.MANAGE)
    check_idle(upload.row)
    fixes = merged(upload.fixes, new)
    upload.row.answers = {**upload.row.answers, "fixes": [fix.plain for fix in fixes]}
    upload.row.save(update_fields=["answers"])


def drop_fixes(member: Membership, upload: Upload) -> None:
    """Read the cells as the file has them again. Raises ImportRefusedError."""
    require(member, Permission.MANAGE)
    check_idle(upload.row)
    upload.row.answers = {**upload.row.answers, "fixes": []}
    upload.row.save(update_fields=["answers"])


def build_upload(
    member: Membership,
    upload: Upload,
    *,
    now: dt.datetime | None = None,
    report: ReportProgress = no_report,
) -> Building:
    return build(
        member,
        prepared(upload),
        upload.choices,
        upload.answers,
        now=now or timezone.now(),
        leave_out_known=upload.leave_out_known,
        report=report,
    )


def prepared(upload: Upload) -> Table:
    """The table as it is gathered: without totals, with empty cells filled in, and fixed."""
    table = without_totals(upload.table, upload.choices)
    if upload.answers.fill_down:
        table = filled_down(table, upload.choices)
    return fixed(table, upload.fixes)


def preview_upload(
    member: Membership, upload: Upload, *, report: ReportProgress = no_report
) -> Preview:
    built = build_upload(member, upload, report=report)
    return preview(upload.table, upload.choices, built, species_names=upload.species_names)


@transaction.atomic
def commit_upload(
    member: Membership,
    upload: Upload,
    *,
    report: ReportProgress = no_report,
    end: Callable[[], None] | None = None,
) -> Committed:
    """Import the file; `end` is called in the same transaction, when all is written.

    Raises ImportRefusedError, and then nothing was imported.
    """
    if upload.row.committed_at is not None:
        raise ImportRefusedError(
            said("“{file_name}” was imported already.", file_name=upload.row.file_name)
        )
    now = timezone.now()
    done = commit(
        member,
        lambda: build_upload(member, upload, now=now, report=report),
        upload=upload.row,
        now=now,
    )
    upload.row.committed_at = now
    upload.row.visit_count = done.visits
    upload.row.save(update_fields=["committed_at", "visit_count"])
    forget_parts(upload.row)
    if end is not None:
        end()
    return done


@transaction.atomic
def discard(member: Membership, row: SpreadsheetImport) -> None:
    """Forget a file that was never imported; what was imported keeps its file.

    Raises ImportRefusedError while the worker has it in hand.
    """
    require(member, Permission.MANAGE)
    check_idle(row)
    if row.committed_at is None:
        BackgroundRun.objects.filter(program=row.program_id, subject=subject_of(row)).delete()
        row.delete()


def same_file_before(upload: Upload) -> SpreadsheetImport | None:
    """An import of the very same file that was carried out."""
    return (
        SpreadsheetImport.objects.filter(
            program=upload.row.program_id,
            sha256=upload.row.sha256,
            committed_at__isnull=False,
            undone_at=None,
        )
        .exclude(pk=upload.row.pk)
        .defer("content")
        .first()
    )


def _choice(code: str, catalog: Mapping[str, str], fields: tuple[Field, ...]) -> Choice:
    """A species or field that is gone since is a column to choose again."""
    try:
        return choice_of(code, catalog=catalog, fields=fields)
    except MappingError:
        return Choice()


def _pairs(table: Table, choices: Iterable[Choice]) -> list[list[str]]:
    return [
        [storable(header), choice.code]
        for header, choice in zip(table.headers, choices, strict=True)
    ]


def _species(program: Program) -> tuple[dict[str, str], dict[str, str]]:
    rows = {row.code: row for row in Species.objects.known_to(program)}
    return species_catalog(rows), {code: row.common_name for code, row in rows.items()}
