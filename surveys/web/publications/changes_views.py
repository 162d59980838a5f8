"""What changed between two versions of a publication."""

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from accounts.access import Permission, ProgramRequest, may, needs
from surveys.language import gettext
from surveys.publishing.differences import Difference, NumberChange, difference
from surveys.publishing.formats import yearly_csv as csv
from surveys.publishing.tables import TABLE
from surveys.web.numbers import whole_number
from surveys.web.publications.views import publication_or_404, tombstone
from surveys.web.trends.yearly import heading

SHOWN = 200


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
    return render(
        request,
        "publications/changes.html",
        {
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
            "visits": [
                (words, visits[:SHOWN], len(visits))
                for words, visits in (
                    (gettext("Added visits"), changes.came),
                    (gettext("Removed visits"), changes.went),
                    (gettext("Changed visits"), changes.changed),
                )
            ],
            "tables": _tables(changes),
            "other_tables": changes.other_tables,
            "shown": SHOWN,
            "show_steps": may(request.membership, Permission.READ_SEASONS),
        },
    )


def _against(request: ProgramRequest, version: int) -> int:
    asked = whole_number(request.GET.get("against", ""))
    other = version - 1 if asked is None else asked
    if not 1 <= other < version:
        raise Http404(gettext("There is no such earlier version."))
    return other


def _tables(changes: Difference) -> list[dict[str, object]]:
    return [
        {
            "title": gettext(TABLE[name].title),
            "name": name,
            "rows": [_words(change) for change in numbers[:SHOWN]],
            "count": len(numbers),
        }
        for name, numbers in changes.numbers.items()
        if numbers
    ]


def _words(change: NumberChange) -> tuple[str, str, str, str]:
    """Where, which column, old, new. Numbers that differ in later places only show all of them."""
    before, after = csv.cell_text(change.before), csv.cell_text(change.after)
    if before == after:
        before, after = str(change.before), str(change.after)
    where = ", ".join(str(part) for part in change.key)
    blank = gettext("blank")
    return where, heading(change.column), before or blank, after or blank
