"""The paper sheet: list of own visits, new sheet, grid, saving while typing, submitting."""

import datetime as dt
import json
from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import Route, Visit
from surveys.visits.access import (
    EDITABLE,
    find_visit,
)
from surveys.visits.blind.waiting import count_to_listen
from surveys.visits.coming_back import came_back, tell_withdrawn
from surveys.visits.drafts import (
    clear_stop,
    discard_draft,
    save_cells,
    start_visit,
)
from surveys.visits.exceptions import (
    VisitError,
    VisitRefused,
)
from surveys.visits.judging import read_and_judge
from surveys.visits.media.audio_formats import (
    MAX_BYTES,
    megabytes,
)
from surveys.visits.media.photos import SHEET_PAGES
from surveys.visits.sheet.cells import (
    CellChange,
    Conflict,
    cell_of,
)
from surveys.visits.telling import ToldFinding
from surveys.visits.tonight import own_visits, shared_visits
from surveys.visits.verbs import submit_visit
from surveys.visits.visit_ids import closed_visits, open_visit, visit_id
from surveys.web.conversation import conversation_of
from surveys.web.recordings.listing import recording_list
from surveys.web.sheets.forms import MyVisitsFilter, NewSheetForm
from surveys.web.sheets.grid import (
    LEGENDS,
    Grid,
    build_layout,
)
from surveys.web.sheets.posted import change_of, changed_cells, shown_cells, stored_changes

CALLS = "calls."
VISITS_PER_PAGE = 25
SHARED_SHOWN = 50


@require_GET
@needs(Permission.SURVEY)
def sheets(request: ProgramRequest) -> HttpResponse:
    visits = own_visits(request.membership)
    shared = shared_visits(request.membership)
    form = MyVisitsFilter(request.GET, visits=(visits, shared))
    shown = visits.filter(**form.narrowing)
    page = Paginator(shown, VISITS_PER_PAGE).get_page(request.GET.get("page"))
    why = came_back(page.object_list)
    return render(
        request,
        "sheets/list.html",
        {
            "page_obj": page,
            "rows": [(visit, why[visit.pk].is_withdrawn) for visit in page],
            "form": form,
            "shared": tell_withdrawn(shared.filter(**form.narrowing)[:SHARED_SHOWN]),
            "to_listen": count_to_listen(request.membership),
        },
    )


@require_http_methods(["GET", "POST"])
@needs(Permission.SURVEY)
def new(request: ProgramRequest) -> HttpResponse:
    form = NewSheetForm(
        request.POST if request.method == "POST" else None,
        member=request.membership,
        now=timezone.now(),
        initial={name: request.GET[name] for name in ("route", "night") if name in request.GET},
    )
    if request.method == "POST" and form.is_valid():
        route, night = form.cleaned_data["route"], form.cleaned_data["night"]
        try:
            visit = open_visit(request.membership, route, night)
            if visit is None:
                visit = _start(request.membership, route, night)
            else:
                messages.info(request, gettext("You already began this visit. Here it is."))
        except VisitError as error:
            form.add_error(None, str(error))
        else:
            return redirect("web:sheet", program=request.membership.program.slug, visit_id=visit.pk)
    return render(request, "sheets/new.html", {"form": form})


def _start(member: Membership, route: Route, night: dt.date) -> Visit:
    made = visit_id(member, route, night, closed_visits(member, route))
    return start_visit(member, route=route, night=night, visit_id=made)


@require_http_methods(["GET", "POST"])
@needs(Permission.SURVEY)
def sheet(request: ProgramRequest, visit_id: UUID) -> HttpResponse:
    """The grid. A POST is the whole form, for browsers that run no scripts."""
    if request.method == "POST":
        return _save_whole_form(request, visit_id)
    visit = find_visit(request.membership, visit_id)
    if visit.observer_id != request.user.pk or visit.state not in EDITABLE:
        return redirect("web:visit", program=visit.route.program.slug, visit_id=visit_id)
    return _show(request, visit)


@require_http_methods(["PATCH"])
@needs(Permission.SURVEY)
def cells(request: ProgramRequest, visit_id: UUID) -> JsonResponse:
    """Save changed cells: `{"changes": {address: {"was": text, "now": text}}}`.

    Responds with the revision, all cells as they are now, the findings, and the conflicts:
    cells that another device has changed, which are left as they are.
    """
    try:
        changes = _posted_changes(request.body)
    except ValueError as error:
        return JsonResponse({"detail": str(error)}, status=400)
    try:
        cells = find_visit(request.membership, visit_id).cells
        saved = save_cells(request.membership, visit_id, stored_changes(changes, cells))
    except VisitError as error:
        return JsonResponse({"detail": str(error)}, status=409)
    findings_with_cells = [(finding, cell_of(finding.where)) for finding in saved.findings]
    return JsonResponse(
        {
            "revision": saved.visit.revision,
            "cells": shown_cells(saved.visit.cells),
            "findings": [_finding_json(finding) for finding in saved.findings],
            "conflicts": [_as_shown(conflict, saved.visit) for conflict in saved.conflicts],
            "rules_say": render_to_string(
                "sheets/rules_say.html", {"findings": findings_with_cells}
            ),
        }
    )


@require_POST
@needs(Permission.SURVEY)
def submit(request: ProgramRequest, visit_id: UUID) -> HttpResponse:
    """Save the posted form, then submit the sheet."""
    try:
        saved = save_cells(request.membership, visit_id, _changes_posted(request, visit_id))
        if saved.conflicts:
            return _show(request, saved.visit, conflicts=saved.conflicts, status=409)
        submit_visit(request.membership, visit_id, revision=saved.visit.revision)
    except VisitRefused as refused:
        messages.error(request, str(refused))
        return _show(request, find_visit(request.membership, visit_id), status=422)
    except VisitError as error:
        messages.error(request, str(error))
        return _redirect_to_list(request)
    messages.success(
        request,
        gettext(
            "Submitted. Thank you. The coordinator will review it and may send it back with a "
            "question; you will get an email. Once accepted, it counts in Seasons and Trends."
        ),
    )
    return _redirect_to_list(request)


@require_POST
@needs(Permission.SURVEY)
def discard(request: ProgramRequest, visit_id: UUID) -> HttpResponse:
    try:
        discard_draft(request.membership, visit_id)
    except VisitError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, gettext("Draft deleted."))
    return _redirect_to_list(request)


def _redirect_to_list(request: ProgramRequest) -> HttpResponse:
    return redirect("web:sheets", program=request.membership.program.slug)


def _save_whole_form(request: ProgramRequest, visit_id: UUID) -> HttpResponse:
    try:
        saved = save_cells(request.membership, visit_id, _changes_posted(request, visit_id))
    except VisitError as error:
        messages.error(request, str(error))
        return _redirect_to_list(request)
    if saved.conflicts:
        return _show(request, saved.visit, conflicts=saved.conflicts, status=409)
    if (number := request.POST.get("clear_stop", "")).isdecimal():
        clear_stop(request.membership, visit_id, int(number))
        messages.success(request, said("Stop {number} is cleared.", number=number))
    else:
        messages.success(request, gettext("Saved."))
    here = reverse(
        "web:sheet", kwargs={"program": request.membership.program.slug, "visit_id": visit_id}
    )
    extra = request.POST.get("extra_species", "")
    return redirect(f"{here}?species={extra}" if extra else here)


def _show(
    request: ProgramRequest,
    visit: Visit,
    *,
    conflicts: tuple[Conflict, ...] = (),
    status: int = 200,
) -> HttpResponse:
    judgment = read_and_judge(visit)
    layout = build_layout(visit, judgment, also=request.GET.get("species", ""))
    labels = layout.grid.labels
    return render(
        request,
        "sheets/sheet.html",
        {
            "visit": visit,
            "grid": layout.grid,
            "conflicts": [
                _as_shown(conflict, visit)
                | {"place": labels.get(conflict.address, conflict.address)}
                for conflict in conflicts
            ],
            "others": layout.others,
            "codes": LEGENDS,
            "came_back": came_back([visit])[visit.pk],
            "sheet_pages": SHEET_PAGES,
            "photo_rows": set(visit.photos.values_list("row", flat=True)),
            "findings": [(finding, cell_of(finding.where)) for finding in layout.grid.findings],
            "rendered": json.dumps(shown_cells(visit.cells)),
            "page_data": _page_data(request, visit),
            "largest_sound": megabytes(MAX_BYTES),
            "sound_species": _species_columns(layout.grid),
            "may_remove": True,
            **recording_list(request.membership, visit),
            **conversation_of(request, visit, then="sheet"),
        },
        status=status,
    )


def _as_shown(conflict: Conflict, visit: Visit) -> dict[str, str]:
    night = {"night": visit.cells.get("night", "")}
    theirs = shown_cells(night | {conflict.address: conflict.theirs})
    return vars(conflict) | {"theirs": theirs[conflict.address]}


def _species_columns(grid: Grid) -> list[tuple[str, str]]:
    """Code and name of each species that has a column."""
    return [
        (column.field.removeprefix(CALLS), column.heading)
        for column in grid.columns
        if column.field.startswith(CALLS)
    ]


def _page_data(request: ProgramRequest, visit: Visit) -> dict[str, Any]:
    slug = request.membership.program.slug
    return {
        "visit": str(visit.pk),
        "cells": shown_cells(visit.cells),
        "url": reverse("web:sheet_cells", kwargs={"program": slug, "visit_id": visit.pk}),
        "login": f"{reverse('account_login')}?next={request.path}",
    }


def _changes_posted(request: ProgramRequest, visit_id: UUID) -> Mapping[str, CellChange]:
    """Those of the whole form, by what the visit holds."""
    cells = find_visit(request.membership, visit_id).cells
    return stored_changes(changed_cells(request.POST), cells)


def _posted_changes(body: bytes) -> dict[str, CellChange]:
    try:
        changes = json.loads(body)["changes"]
        return {
            str(address): change_of(str(address), str(change["was"]), str(change["now"]))
            for address, change in changes.items()
        }
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise ValueError(
            'Send {"changes": {"<cell address>": {"was": "<text>", "now": "<text>"}}}.'
        ) from error


def _finding_json(finding: ToldFinding) -> dict[str, Any]:
    return {
        "severity": finding.severity.value,
        "cell": cell_of(finding.where),
        "stop": finding.where.stop,
        "message": finding.message,
        "why": reverse("web:rule", kwargs={"code": finding.code}),
    }
