"""Importing a spreadsheet of past visits: file, columns, preview, commit."""

import datetime as dt
import uuid
from collections.abc import Callable, Sequence
from functools import partial, wraps
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from django_htmx.http import HttpResponseClientRefresh

from accounts.access import Permission, ProgramRequest, needs
from surveys.importing.columns import check
from surveys.importing.preview import Preview, preview_from_plain
from surveys.importing.problems import ImportRefusedError, UnreadableFileError
from surveys.importing.runs import (
    MOST_ROWS_AT_ONCE,
    enqueue_import,
    import_of,
    latest_run_of,
)
from surveys.importing.template import template_csv, template_xlsx
from surveys.importing.uploads import (
    Upload,
    choose_layout,
    commit_upload,
    discard,
    drop_fixes,
    fix_cells,
    open_upload,
    preview_upload,
    remember,
    same_file_before,
    store,
)
from surveys.language import gettext, said, said_of
from surveys.models import BackgroundRun, RunKind, RunState, SpreadsheetImport
from surveys.visits.exceptions import NoRoomLeft
from surveys.web.importing.beginning import let_stops_begin_earlier
from surveys.web.importing.done_views import done_page
from surveys.web.importing.fixing import (
    chosen_fixes,
    groups_of,
    names_of,
    observer_items,
    told_fixes,
)
from surveys.web.importing.forms import ColumnsForm, LayoutForm, UploadForm
from surveys.web.runs.page import run_page

_TEMPLATES = {
    "csv": (template_csv, "text/csv; charset=utf-8"),
    "xlsx": (
        template_xlsx,
        "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ),
}
_RECENT = 20
# Of answers that are not used, so many are told.
_MOST_TOLD = 5


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def start(request: ProgramRequest) -> HttpResponse:
    member = request.membership
    posted = request.method == "POST"
    form = UploadForm(request.POST, request.FILES) if posted else UploadForm()
    if posted and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            row = store(member, file_name=file.name, content=file.read())
        except (UnreadableFileError, NoRoomLeft) as error:
            form.add_error("file", str(error))
        else:
            return redirect("web:import_columns", program=member.program.slug, upload=row.pk)
    recent = member.program.imports.defer("content").select_related("uploaded_by")[:_RECENT]
    return render(
        request,
        "importing/start.html",
        {
            "section": "import",
            "form": form,
            "recent": recent,
            "large": f"{MOST_ROWS_AT_ONCE:,}",
            "example": dt.datetime(2024, 4, 15, 21, 14, tzinfo=ZoneInfo(member.program.time_zone)),
        },
        status=400 if form.errors else 200,
    )


@require_GET
@needs(Permission.MANAGE)
def template(request: ProgramRequest, kind: str) -> HttpResponse:
    if kind not in _TEMPLATES:
        raise Http404(gettext("There is a template as csv and as xlsx."))
    make, content_type = _TEMPLATES[kind]
    program = request.membership.program
    name = f"visits-{program.slug}.{kind}"
    return HttpResponse(
        make(program),
        content_type=content_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _says_unreadable(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A stored file is read again at each step, which may fail where the server is busy."""

    @wraps(view)
    def respond(request: ProgramRequest, upload: uuid.UUID) -> HttpResponse:
        try:
            return view(request, upload)
        except UnreadableFileError as error:
            messages.error(request, str(error))
            return redirect("web:import_start", program=request.membership.program.slug)

    return respond


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
@_says_unreadable
def columns(request: ProgramRequest, upload: uuid.UUID) -> HttpResponse:
    member = request.membership
    go_to = partial(redirect, "web:import_preview", program=member.program.slug, upload=upload)
    row = import_of(member, upload)
    if run := _reading(row):
        show = _read_again if request.method == "POST" else _run_page
        return show(request, row, run)
    if request.htmx:
        return HttpResponseClientRefresh()
    if not _is_open(row):
        return go_to()
    stored = open_upload(member, upload)
    form = ColumnsForm(stored, member.program, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            remember(
                stored,
                form.explicit(),
                form.answers(),
                leave_out_known=form.cleaned_data["leave_out_known"],
            )
            if stored.is_large:
                enqueue_import(member, upload, RunKind.CHECK_IMPORT)
        except ImportRefusedError as error:
            messages.error(request, str(error))
        return go_to()
    return _columns_page(request, stored, form, LayoutForm(stored))


def _reading(row: SpreadsheetImport) -> BackgroundRun | None:
    """The run of a large file that is not read, because the worker has not come to it or because
    it cannot be read."""
    run = latest_run_of(row)
    is_unread = run and run.kind == RunKind.READ_IMPORT and run.state != RunState.DONE
    return run if is_unread else None


def _read_again(
    request: ProgramRequest, row: SpreadsheetImport, run: BackgroundRun
) -> HttpResponse:
    if not run.under_way:
        enqueue_import(request.membership, row.pk, RunKind.READ_IMPORT)
    return redirect("web:import_columns", program=row.program.slug, upload=row.pk)


def _columns_page(
    request: ProgramRequest, stored: Upload, form: ColumnsForm, layout_form: LayoutForm
) -> HttpResponse:
    return render(
        request,
        "importing/columns.html",
        {
            "section": "import",
            "form": form,
            "layout_form": layout_form,
            "upload": stored,
            "as_in": stored.row.answers.get("as_in", ""),
            "problems": check(stored.table, stored.choices),
            # Then it is probably the wrong sheet, or its names stand in another row.
            "is_unmatched": not any(choice.field or choice.species for choice in stored.choices),
            "before": same_file_before(stored),
            "crumbs": _crumbs(request, stored, gettext("Columns")),
        },
        status=400 if form.errors or layout_form.errors else 200,
    )


@require_POST
@needs(Permission.MANAGE)
@_says_unreadable
def layout(request: ProgramRequest, upload: uuid.UUID) -> HttpResponse:
    """Another sheet, or other rows of column names."""
    member = request.membership
    stored = open_upload(member, upload)
    form = LayoutForm(stored, request.POST)
    if not form.is_valid():
        return _columns_page(request, stored, ColumnsForm(stored, member.program), form)
    try:
        choose_layout(member, stored.row, form.layout())
    except (ImportRefusedError, UnreadableFileError) as error:
        messages.error(request, str(error))
    return redirect("web:import_columns", program=member.program.slug, upload=upload)


@require_POST
@needs(Permission.MANAGE)
@_says_unreadable
def fix(request: ProgramRequest, upload: uuid.UUID) -> HttpResponse:
    """Keep what was decided about cells that could not be read, and check the file again."""
    member = request.membership
    stored = open_upload(member, upload)
    try:
        if "drop" in request.POST:
            drop_fixes(member, stored)
        elif "begin_earlier" in request.POST:
            let_stops_begin_earlier(request, stored)
        else:
            chosen = chosen_fixes(request.POST, stored, names_of(member.program))
            fix_cells(member, stored, chosen.fixes)
            for why in chosen.refused[:_MOST_TOLD]:
                messages.warning(request, why)
        if stored.is_large:
            enqueue_import(member, upload, RunKind.CHECK_IMPORT)
    except ImportRefusedError as error:
        messages.error(request, str(error))
    return redirect("web:import_preview", program=member.program.slug, upload=upload)


@require_GET
@needs(Permission.MANAGE)
@_says_unreadable
def preview(request: ProgramRequest, upload: uuid.UUID) -> HttpResponse:
    """What an import would do; of a large file, how far the worker has come with it."""
    row = import_of(request.membership, upload)
    run = latest_run_of(row)
    if run is not None and run.kind == RunKind.READ_IMPORT:
        return redirect("web:import_columns", program=row.program.slug, upload=row.pk)
    if run is not None and run.under_way:
        return _run_page(request, row, run)
    if request.htmx:
        return HttpResponseClientRefresh()
    if row.committed_at is not None:
        return done_page(request, row)
    stored = open_upload(request.membership, upload)
    if not stored.is_large:
        return _preview(request, stored, preview_upload(request.membership, stored))
    if run is None:
        messages.info(request, gettext("Match the columns first. Then we check the file."))
        return redirect("web:import_columns", program=row.program.slug, upload=row.pk)
    if run.result is None:
        return _run_page(request, row, run)
    return _preview(request, stored, preview_from_plain(run.result))


@require_POST
@needs(Permission.MANAGE)
@_says_unreadable
def commit(request: ProgramRequest, upload: uuid.UUID) -> HttpResponse:
    member = request.membership
    stored = open_upload(member, upload)
    if stored.is_large:
        return _asked(request, stored)
    try:
        done = commit_upload(member, stored)
    except ImportRefusedError as error:
        messages.error(request, str(error))
        return redirect("web:import_preview", program=member.program.slug, upload=upload)
    told = said_of(
        "One visit was imported and waits for review.",
        "{number} visits were imported and wait for review.",
        done.visits,
    )
    messages.success(request, told)
    return redirect("web:import_preview", program=member.program.slug, upload=upload)


@require_POST
@needs(Permission.MANAGE)
def forget(request: ProgramRequest, upload: uuid.UUID) -> HttpResponse:
    row = import_of(request.membership, upload)
    try:
        discard(request.membership, row)
    except ImportRefusedError as error:
        messages.error(request, str(error))
        return redirect(
            "web:import_preview", program=request.membership.program.slug, upload=upload
        )
    messages.success(
        request,
        said("“{file_name}” was discarded; nothing was imported.", file_name=row.file_name),
    )
    return redirect("web:import_start", program=request.membership.program.slug)


def _is_open(row: SpreadsheetImport) -> bool:
    """Whether its columns may still change."""
    run = latest_run_of(row)
    return row.committed_at is None and not (run is not None and run.under_way)


def _asked(request: ProgramRequest, stored: Upload) -> HttpResponse:
    """Hand a large file to the worker."""
    try:
        enqueue_import(request.membership, stored.row.pk, RunKind.IMPORT)
    except ImportRefusedError as error:
        messages.error(request, str(error))
    return redirect(
        "web:import_preview", program=request.membership.program.slug, upload=stored.row.pk
    )


def _run_page(request: ProgramRequest, row: SpreadsheetImport, run: BackgroundRun) -> HttpResponse:
    """How far the worker has come with a large file, or why it came to nothing."""
    failed = {
        RunKind.READ_IMPORT: gettext("The file was not read"),
        RunKind.CHECK_IMPORT: gettext("The file was not checked"),
        RunKind.IMPORT: gettext("Nothing was imported"),
        RunKind.UNDO_IMPORT: gettext("The import was not undone"),
    }[RunKind(run.kind)]
    promise = {
        RunKind.IMPORT: gettext("Either every row is imported or none."),
        RunKind.UNDO_IMPORT: gettext("Either every visit is set aside or none."),
    }.get(RunKind(run.kind), gettext("Nothing is imported yet."))
    return run_page(
        request,
        run,
        heading=f"{run.get_kind_display()} {row.file_name}" if run.under_way else failed,
        crumbs=[_import_crumb(request), {"name": row.file_name, "url": ""}],
        outcome="importing/run_outcome.html",
        promise=gettext("This is a large file, so it takes a while. ") + promise,
        section="import",
        row=row,
    )


def _preview(request: ProgramRequest, stored: Upload, seen: Preview) -> HttpResponse:
    names = names_of(request.membership.program)
    return render(
        request,
        "importing/preview.html",
        {
            "section": "import",
            "upload": stored,
            "seen": seen,
            "first_rows": [
                (row.number, _labeled(seen, row.texts, in_full=row is seen.first_rows[0]))
                for row in seen.first_rows
            ],
            "observers": observer_items(stored, seen.new_observers, names),
            "counts": [
                (gettext("Visits"), seen.visits, seen.nights),
                (gettext("Stops surveyed"), seen.stops, ""),
                (gettext("Detections"), seen.detections, gettext("call index 1 to 3")),
                *(
                    [(gettext("Far calls"), seen.far, gettext("not detections"))]
                    if seen.far
                    else []
                ),
                (gettext("Questions"), seen.queries, gettext("to resolve in review")),
            ],
            "groups": groups_of(seen, names),
            "fixes": told_fixes(stored.fixes, {**stored.species_names, **names.people}),
            "before": same_file_before(stored),
            "crumbs": _crumbs(request, stored, gettext("Preview")),
        },
    )


def _labeled(seen: Preview, texts: Sequence[str], *, in_full: bool) -> list[tuple[str, str]]:
    """The cells of a row, each with its column, because a phone shows no head; `in_full` with what
    the column is read as, too."""
    columns = zip(seen.headers, seen.meanings, texts, strict=False)
    return [
        (_column_words(header, meaning) if in_full else header, text)
        for header, meaning, text in columns
    ]


def _column_words(header: str, meaning: str) -> str:
    if header.casefold() == meaning.casefold():
        return header
    return said("{column}, read as {meaning}", column=header, meaning=meaning)


def _crumbs(request: ProgramRequest, upload: Upload, here: str) -> list[dict[str, str]]:
    return [
        _import_crumb(request),
        {"name": f"{upload.row.file_name}: {here.lower()}", "url": ""},
    ]


def _import_crumb(request: ProgramRequest) -> dict[str, str]:
    start_url = reverse("web:import_start", args=[request.membership.program.slug])
    return {"name": gettext("Import"), "url": start_url}
