"""Corrects cells of a submitted sheet, with a reason. The observer's submission is kept."""

from __future__ import annotations

import json
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from accounts.access import (
    Permission,
    ProgramRequest,
    needs,
)
from surveys.language import gettext
from surveys.models import (
    Program,
    Visit,
    VisitState,
)
from surveys.visits.access import find_visit
from surveys.visits.companions import names_of_companions
from surveys.visits.exceptions import (
    StaleRevision,
    VisitError,
    WrongState,
)
from surveys.visits.judging import read_and_judge
from surveys.visits.own_values import labels_by_cell
from surveys.visits.sheet.cells import (
    CellChange,
    merge,
)
from surveys.visits.verbs import correct_cells
from surveys.web.review.forms import (
    ReasonForm,
    posted_revision,
)
from surveys.web.sheets.cell_words import person_key
from surveys.web.sheets.grid import (
    LEGENDS,
    build_layout,
)
from surveys.web.sheets.history import (
    CellDifference,
    differences,
)
from surveys.web.sheets.posted import changed_cells, shown_cells, stored_changes


@require_http_methods(["GET", "POST"])
@needs(Permission.REVIEW)
def correct(request: ProgramRequest, visit: UUID) -> HttpResponse:
    """The paper sheet of a submitted visit, to be corrected with a reason."""
    shown = find_visit(request.membership, visit)
    if request.method == "GET":
        if shown.state != VisitState.SUBMITTED:
            messages.error(request, str(WrongState(shown, (VisitState.SUBMITTED,))))
            return _redirect_to_visit(request, shown)
        return _show(request, shown, {}, ReasonForm())
    changes = stored_changes(changed_cells(request.POST), shown.cells)
    form = ReasonForm(request.POST)
    if request.POST.get("then") == "column":
        return _show(request, shown, changes, ReasonForm(initial=request.POST.dict()))
    if not changes:
        problem = gettext("No cell was changed, so there is nothing to correct.")
        return _show(
            request, shown, changes, form, problem=problem, status=HTTPStatus.UNPROCESSABLE_ENTITY
        )
    if not form.is_valid():
        return _show(request, shown, changes, form, status=HTTPStatus.UNPROCESSABLE_ENTITY)
    try:
        corrected = correct_cells(
            request.membership,
            visit,
            changes,
            reason=form.cleaned_data["reason"],
            revision=posted_revision(request.POST),
        )
    except VisitError as error:
        current = find_visit(request.membership, visit)
        is_stale = isinstance(error, StaleRevision | WrongState)
        status = HTTPStatus.CONFLICT if is_stale else HTTPStatus.UNPROCESSABLE_ENTITY
        return _show(request, current, changes, form, problem=str(error), status=status)
    messages.success(request, gettext("Corrected. The protocol check ran again."))
    return _redirect_to_visit(request, corrected)


def _redirect_to_visit(request: ProgramRequest, visit: Visit) -> HttpResponse:
    return redirect("web:review_visit", program=request.membership.program.slug, visit=visit.pk)


def _show(
    request: ProgramRequest,
    visit: Visit,
    changes: Mapping[str, CellChange],
    form: ReasonForm,
    *,
    problem: str = "",
    status: int = HTTPStatus.OK,
) -> HttpResponse:
    """The current sheet with the typed changes applied: judged, but not saved."""
    current_cells = dict(visit.cells)
    overriding = {
        address: CellChange(was=current_cells.get(address, ""), now=change.now)
        for address, change in changes.items()
    }
    visit.cells, _ = merge(current_cells, overriding)
    judgment = read_and_judge(visit)
    layout = build_layout(visit, judgment, also=request.POST.get("extra_species", ""))
    if problem and form.is_bound:
        form.add_error(None, problem)
    context: dict[str, Any] = {
        "visit": visit,
        "grid": layout.grid,
        "form": form,
        "others": layout.others,
        "codes": LEGENDS,
        "rendered": json.dumps(shown_cells(current_cells)),
        "overtaken": _changed_by_others(
            current_cells, changes, judgment.background.species, visit.route.program
        ),
        "last_step": visit.steps.select_related("by").last(),
        "zone": visit.route.program.time_zone,
        "is_stale": status == HTTPStatus.CONFLICT,
    }
    return render(request, "review/correct.html", context, status=status)


def _changed_by_others(
    current_cells: Mapping[str, str],
    changes: Mapping[str, CellChange],
    species: Mapping[str, Any],
    program: Program,
) -> tuple[CellDifference, ...]:
    """Cells that somebody else has changed since the page was rendered."""
    contested = {
        address: change
        for address, change in changes.items()
        if current_cells.get(address, "") not in (change.was, change.now)
    }
    names = {code: row.name for code, row in species.items()} | labels_by_cell(program)
    sheets = (current_cells, {address: change.now for address, change in contested.items()})
    people = names_of_companions(sheets, program).items()
    names |= {person_key(text): name for text, name in people}
    return differences(
        {address: current_cells.get(address, "") for address in contested},
        {address: change.now for address, change in contested.items()},
        names,
    )
