"""What changed between two versions of a publication."""

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from accounts.access import Permission, ProgramRequest, may, needs
from surveys.language import gettext
from surveys.publishing.causes import Visits
from surveys.publishing.differences import difference
from surveys.web.csv_file import csv_file
from surveys.web.numbers import whole_number
from surveys.web.publications.by_cause import as_csv, one_group, parts_by_cause
from surveys.web.publications.views import publication_or_404, tombstone


@require_GET
@needs(Permission.READ_RESULTS)
def publication_changes(request: ProgramRequest, season_year: int, version: int) -> HttpResponse:
    """Against the version before, or against the one in `?against=`."""
    newer = publication_or_404(request, season_year, version)
    older = publication_or_404(request, season_year, _against(request, version))
    for one in (newer, older):
        if one.withdrawn:
            return tombstone(request, one)
    changes = difference(older, newer)
    visits = Visits(came=changes.came, went=changes.went, changed=changes.changed)
    parts = parts_by_cause(visits, changes.numbers, relisted=changes.relisted)
    show_steps = may(request.membership, Permission.READ_SEASONS)
    if "csv" in request.GET:
        name = f"{newer.program.slug}-{season_year}-v{older.version}-v{version}-changes.csv"
        return csv_file(as_csv(parts, show_steps=show_steps), name)
    context = one_group(request, parts) if "group" in request.GET else {}
    return render(
        request,
        "publications/one_cause.html" if context else "publications/changes.html",
        {
            **context,
            "newer": newer,
            "older": older,
            "others": [
                number
                for number in newer.program.publications.filter(
                    season_year=season_year, version__lt=version, withdrawal=None
                )
                .order_by("version")
                .values_list("version", flat=True)
                if number != older.version
            ],
            "nothing": changes.nothing,
            "parts": parts,
            "other_tables": changes.other_tables,
            "show_steps": show_steps,
        },
    )


def _against(request: ProgramRequest, version: int) -> int:
    asked = whole_number(request.GET.get("against", ""))
    other = version - 1 if asked is None else asked
    if not 1 <= other < version:
        raise Http404(gettext("There is no such earlier version."))
    return other
