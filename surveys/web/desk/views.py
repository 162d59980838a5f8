"""The desk: the coordinator's first page, and each of its blocks as a file."""

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from accounts.access import Permission, ProgramRequest, needs
from surveys.language import gettext
from surveys.web.csv_file import csv_file
from surveys.web.desk.blocks import BLOCKS, Desk
from surveys.web.desk.cells import block_csv
from surveys.web.program.to_do import missing_for_the_first_visit


@require_GET
@needs(Permission.REVIEW)
def desk(request: ProgramRequest) -> HttpResponse:
    """What is missing before the first visit, blocks with something in them, and a line for each
    of the others."""
    on_desk = Desk(request.membership)
    blocks = [on_desk.block(key) for key in BLOCKS]
    return render(
        request,
        "desk/desk.html",
        {
            "season_year": on_desk.year,
            "to_do": missing_for_the_first_visit(request.membership),
            "blocks": [block for block in blocks if block.rows],
            "clear": [block for block in blocks if not block.rows],
        },
    )


@require_GET
@needs(Permission.REVIEW)
def desk_csv(request: ProgramRequest, block: str) -> HttpResponse:
    if block not in BLOCKS:
        raise Http404(gettext("The desk has no such list."))
    on_desk = Desk(request.membership)
    name = f"{on_desk.program.slug}-{block}-{on_desk.today:%Y-%m-%d}.csv"
    return csv_file(block_csv(on_desk.block(block)), name)
