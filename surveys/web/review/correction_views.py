"""Correcting cells of a submitted sheet, with a reason. The observer's own stays as it came."""

from __future__ import annotations

import json
from collections.abc import Mapping
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
from surveys.models import (
    Visit,
    VisitState,
)
from surveys.visits.access import find_visit
from surveys.visits.exceptions import (
    StaleRevision,
    VisitError,
    WrongState,
)
from surveys.visits.judging import read_and_judge
from surveys.visits.sheet.cells import (
    CellChange,
    merge,
)
from surveys.visits.verbs import correct_cells
from surveys.web.review.forms import (
    ReasonForm,
    cells_changed,
    revision_seen,
)
from surveys.web.sheets.grid import (
    CODES,
    lay_out,
)
from surveys.web.sheets.history import (
    CellDifference,
    differences,
)

CHANGED_MEANWHILE = 409
REFUSED = 422


@require_http_methods(["GET", "POST"])
@needs(Permission.REVIEW)
def correct(request: ProgramRequest, visit: UUID) -> HttpResponse:
    """The paper sheet of a submitted visit, to be corrected with a reason."""
    found = find_visit(request.membership, visit)
    if request.method == "GET":
        if found.state != VisitState.SUBMITTED:
            messages.error(request, str(WrongState(found, (VisitState.SUBMITTED,))))
            return _back(request, found)
        return _show(request, found, {}, ReasonForm())
    changes = cells_changed(request.POST)
    form = ReasonForm(request.POST)
    if request.POST.get("then") == "column":
        return _show(request, found, changes, ReasonForm(initial=request.POST.dict()))
    if not changes:
        problem = "No cell was changed, so there is nothing to correct."
        return _show(request, found, changes, form, problem=problem, status=REFUSED)
    if not form.is_valid():
        return _show(request, found, changes, form, status=REFUSED)
    try:
        corrected = correct_cells(
            request.membership,
            visit,
            changes,
            reason=form.cleaned_data["reason"],
            revision=revision_seen(request.POST),
        )
    except VisitError as error:
        again = find_visit(request.membership, visit)
        status = CHANGED_MEANWHILE if isinstance(error, StaleRevision | WrongState) else REFUSED
        return _show(request, again, changes, form, problem=str(error), status=status)
    messages.success(request, "Corrected. The rules looked at the sheet again.")
    return _back(request, corrected)


def _back(request: ProgramRequest, visit: Visit) -> HttpResponse:
    return redirect("web:review_visit", program=request.membership.program.slug, visit=visit.pk)


def _show(
    request: ProgramRequest,
    visit: Visit,
    changes: Mapping[str, CellChange],
    form: ReasonForm,
    *,
    problem: str = "",
    status: int = 200,
) -> HttpResponse:
    """The sheet as it stands, with the typed changes in it, judged but not saved."""
    standing = dict(visit.cells)
    overriding = {
        address: CellChange(was=standing.get(address, ""), now=change.now)
        for address, change in changes.items()
    }
    visit.cells, _ = merge(standing, overriding)
    judged = read_and_judge(visit)
    laid_out = lay_out(visit, judged, also=request.POST.get("extra_species", ""))
    if problem and form.is_bound:
        form.add_error(None, problem)
    context: dict[str, Any] = {
        "visit": visit,
        "grid": laid_out.grid,
        "form": form,
        "others": laid_out.others,
        "codes": CODES,
        "rendered": json.dumps(standing),
        "overtaken": _overtaken(standing, changes, judged.background.species),
        "last_step": visit.steps.select_related("by").last(),
        "zone": visit.route.program.time_zone,
        "changed_meanwhile": status == CHANGED_MEANWHILE,
    }
    return render(request, "review/correct.html", context, status=status)


def _overtaken(
    standing: Mapping[str, str], changes: Mapping[str, CellChange], species: Mapping[str, Any]
) -> tuple[CellDifference, ...]:
    """Cells that somebody else filled differently since the page was made."""
    others = {
        address: change
        for address, change in changes.items()
        if standing.get(address, "") not in (change.was, change.now)
    }
    names = {code: one.common_name for code, one in species.items()}
    return differences(
        {address: standing.get(address, "") for address in others},
        {address: change.now for address, change in others.items()},
        names,
    )
