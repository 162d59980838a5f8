"""Bringing routes in from a file: upload, preview, import, undo."""

import uuid
from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.access import Permission, ProgramRequest, needs
from surveys.importing.places import uploads
from surveys.importing.places.columns import check
from surveys.importing.problems import UnreadableFileError
from surveys.language import gettext, said
from surveys.models import RouteImport
from surveys.programs.area import area_of
from surveys.programs.bring_in import RoutesRefusedError
from surveys.visits.exceptions import NoRoomLeft
from surveys.web.route_import.forms import OptionsForm, UploadForm
from surveys.web.route_import.page import counts, groups, map_data, outcome, route_rows

_RECENT = 20


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def start(request: ProgramRequest) -> HttpResponse:
    member = request.membership
    if not member.program.protocols.exists():
        messages.warning(request, gettext("Set up a protocol first: every route follows one."))
        return redirect("web:program_protocols", program=member.program.slug)
    posted = request.method == "POST"
    form = UploadForm(request.POST, request.FILES) if posted else UploadForm()
    if posted and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            row = uploads.store(member, file_name=file.name, content=file.read())
        except (UnreadableFileError, NoRoomLeft) as error:
            form.add_error("file", str(error))
        else:
            return redirect(_next(row), program=member.program.slug, places=row.pk)
    recent = member.program.route_imports.defer("found", "draft").select_related("uploaded_by")
    context = {"section": "routes", "form": form, "recent": recent[:_RECENT]}
    return render(request, "route_import/start.html", context, status=400 if form.errors else 200)


def _next(row: RouteImport) -> str:
    """Columns first, where they could not all be told."""
    lacks = check(uploads.file_of(row).table, uploads.codes_of(row))
    return "web:route_import_columns" if lacks else "web:route_import"


@require_GET
@needs(Permission.MANAGE)
def preview(request: ProgramRequest, places: uuid.UUID) -> HttpResponse:
    """What would be brought in; after the import what was."""
    member = request.membership
    row = uploads.import_of(member, places)
    if row.committed_at is not None:
        context = {"section": "routes", "row": row, "outcome": outcome(row)}
        return render(request, "route_import/done.html", context)
    plan = uploads.plan_of(row)
    file = uploads.file_of(row)
    form = OptionsForm(plan.options, list(member.program.protocols.order_by("name")))
    return render(
        request,
        "route_import/preview.html",
        {
            "section": "routes",
            "row": row,
            "form": form,
            "plan": plan,
            "ready": not plan.problems and plan.changes_something,
            "problems": groups(plan.problems, row.draft),
            "remarks": groups(plan.remarks, row.draft),
            "counts": counts(plan),
            "routes": route_rows(row.draft, plan),
            "map_data": map_data(plan, area=area_of(member.program)),
            "notices": file.table.notices,
            "has_columns": bool(file.table.headers),
            "is_slipped": any(finding.kind in ("slip", "coordinate") for finding in plan.problems),
            "before": _same_file(row),
            "bare_lines": sum(
                bool(route["line"]) and not route["stops"] and not route["left_out"]
                for route in row.draft
            ),
        },
    )


def _same_file(row: RouteImport) -> RouteImport | None:
    """An import of the very same file that stands."""
    return (
        RouteImport.objects.filter(
            program=row.program_id,
            sha256=row.sha256,
            committed_at__isnull=False,
            undone_at=None,
        )
        .defer("found", "draft")
        .first()
    )


def _changing(
    request: ProgramRequest, places: uuid.UUID, verb: Callable[..., object], done: str
) -> HttpResponse:
    """Run a verb of a whole import, and say what came of it."""
    try:
        verb(request.membership, places)
    except (RoutesRefusedError, ValidationError) as refusal:
        text = " ".join(refusal.messages) if isinstance(refusal, ValidationError) else str(refusal)
        messages.error(request, text)
    else:
        messages.success(request, done)
    return redirect("web:route_import", program=request.membership.program.slug, places=places)


@require_POST
@needs(Permission.MANAGE)
def commit(request: ProgramRequest, places: uuid.UUID) -> HttpResponse:
    return _changing(request, places, uploads.commit, gettext("The routes are imported."))


@require_POST
@needs(Permission.MANAGE)
def undo(request: ProgramRequest, places: uuid.UUID) -> HttpResponse:
    done = gettext("The import is undone. All routes and stops are as they were before it.")
    return _changing(request, places, uploads.undo, done)


@require_POST
@needs(Permission.MANAGE)
def discard(request: ProgramRequest, places: uuid.UUID) -> HttpResponse:
    row = uploads.import_of(request.membership, places)
    try:
        uploads.discard(request.membership, places)
    except RoutesRefusedError as refusal:
        messages.error(request, str(refusal))
        return redirect("web:route_import", program=row.program.slug, places=places)
    text = said("“{name}” was discarded; nothing was imported.", name=row.file_name)
    messages.success(request, text)
    return redirect("web:route_import_start", program=row.program.slug)
