"""Correcting what is to be brought in: columns, options, all coordinates, one route."""

import uuid
from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Page, Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from accounts.access import Permission, ProgramRequest, needs
from surveys.importing.places import edits, uploads
from surveys.importing.places.columns import check
from surveys.importing.places.drafts import Draft
from surveys.language import gettext, gettext_noop
from surveys.models import RouteImport
from surveys.programs.route_plan import Plan
from surveys.web.forms.refusals import run_verb
from surveys.web.route_import.forms import STOPS_ON_A_PAGE, ColumnsForm, OptionsForm, RouteForm
from surveys.web.route_import.page import map_data

_ALL: dict[str, tuple[Callable[[Draft], None], str]] = {
    "longitudes": (edits.turn_longitudes, gettext_noop("All longitudes have the other sign now.")),
    "latitudes": (edits.turn_latitudes, gettext_noop("All latitudes have the other sign now.")),
    "swap": (edits.swap, gettext_noop("All latitudes and longitudes are swapped.")),
}


def _to_preview(request: ProgramRequest, places: uuid.UUID) -> HttpResponse:
    return redirect("web:route_import", program=request.membership.program.slug, places=places)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def columns(request: ProgramRequest, places: uuid.UUID) -> HttpResponse:
    member = request.membership
    row = uploads.import_of(member, places)
    file = uploads.file_of(row)
    if row.committed_at is not None or not file.table.headers:
        return _to_preview(request, places)
    codes = uploads.codes_of(row)
    form = ColumnsForm(file.table, codes, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        codes = form.codes()
        kept = run_verb(form, uploads.choose_columns, member, places, codes)
        if kept and not check(file.table, codes):
            return _to_preview(request, places)
    context = {
        "section": "routes",
        "row": row,
        "form": form,
        "count": len(file.table.rows),
        "notices": file.table.notices,
        "problems": check(file.table, codes),
        "was_corrected": row.revision > 1,
    }
    return render(request, "route_import/columns.html", context, status=400 if form.errors else 200)


@require_POST
@needs(Permission.MANAGE)
def options(request: ProgramRequest, places: uuid.UUID) -> HttpResponse:
    member = request.membership
    row = uploads.import_of(member, places)
    protocols = list(member.program.protocols.order_by("name"))
    form = OptionsForm(uploads.options_of(row), protocols, request.POST)
    if form.is_valid() and run_verb(form, uploads.choose_options, member, places, form.options()):
        return _to_preview(request, places)
    context = {"section": "routes", "row": row, "form": form}
    return render(request, "route_import/options.html", context, status=400)


@require_POST
@needs(Permission.MANAGE)
def change_all(request: ProgramRequest, places: uuid.UUID) -> HttpResponse:
    """Change all coordinates of the file, skip the routes that have problems, or propose stops
    along the lines."""
    member = request.membership
    wanted = request.POST.get("change", "")
    try:
        if wanted == "skip":
            plan = uploads.plan_of(uploads.import_of(member, places))
            positions = sorted({finding.spot.route for finding in plan.problems})
            uploads.change_draft(member, places, edits.leave_out(positions))
            messages.success(request, gettext("Routes with problems are skipped."))
        elif wanted == "propose":
            uploads.propose_stops(member, places)
            messages.success(request, gettext("Stops are proposed along the lines."))
        elif wanted in _ALL:
            change, said_of_it = _ALL[wanted]
            uploads.change_draft(member, places, change)
            messages.success(request, gettext(said_of_it))
        else:
            messages.error(request, gettext("Choose what to change."))
    except ValidationError as refusal:
        messages.error(request, " ".join(refusal.messages))
    return _to_preview(request, places)


@require_http_methods(["GET", "POST"])
@needs(Permission.MANAGE)
def route(request: ProgramRequest, places: uuid.UUID, position: int) -> HttpResponse:
    """One route of the draft, to be corrected in place."""
    member = request.membership
    row = uploads.import_of(member, places)
    shown = edits.route_at(row.draft, position)
    if row.committed_at is not None:
        return _to_preview(request, places)
    page = Paginator(shown["stops"], STOPS_ON_A_PAGE).get_page(request.GET.get("page"))
    positions = _positions(page)
    form = RouteForm(
        shown, row.revision, positions, request.POST if request.method == "POST" else None
    )
    if request.method == "POST" and form.is_valid():
        change = edits.change_route(position, form.texts(), form.stops())
        revision = form.cleaned_data["revision"]
        changed = run_verb(form, uploads.change_draft, member, places, change, revision=revision)
        if changed:
            return _after(request, changed, position)
    plan = uploads.plan_of(row)
    context = {
        "section": "routes",
        "row": row,
        "route": shown,
        "position": position,
        "form": form,
        "page_obj": page,
        "rows": _rows(form, shown, positions, plan, position),
        "findings": [f for f in plan.findings if f.spot.route == position and f.spot.stop is None],
        "map_data": map_data(plan, only=position),
    }
    return render(request, "route_import/route.html", context, status=400 if form.errors else 200)


def _positions(page: Page) -> range:
    if not page.object_list:
        return range(0)
    return range(page.start_index() - 1, page.end_index())


def _rows(
    form: RouteForm, shown: dict, positions: range, plan: Plan, route: int
) -> list[dict[str, object]]:
    """A row of the table for each stop, with what was found there."""
    return [
        {
            "row": shown["stops"][position]["row"],
            "fields": [form[f"stop_{position}_{name}"] for name in edits.STOP_TEXTS],
            "left_out": form[f"stop_{position}_left_out"],
            "findings": [
                finding
                for finding in plan.findings
                if (finding.spot.route, finding.spot.stop) == (route, position)
            ],
        }
        for position in positions
    ]


def _after(request: ProgramRequest, row: RouteImport, position: int) -> HttpResponse:
    """The route again while it has problems, the preview when it has none."""
    problems = [f for f in uploads.plan_of(row).problems if f.spot.route == position]
    if not problems:
        messages.success(request, gettext("The route is saved."))
        return _to_preview(request, row.pk)
    messages.warning(request, gettext("Saved. There are still problems to fix on this route."))
    return redirect(
        "web:route_import_route",
        program=request.membership.program.slug,
        places=row.pk,
        position=position,
    )
