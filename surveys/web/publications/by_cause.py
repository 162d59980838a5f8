"""What differs between two versions, grouped by cause, as the pages show it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from surveys.language import gettext
from surveys.publishing.causes import Visits, grouped_visits, numbers_by_table
from surveys.publishing.differences import NumberChange
from surveys.publishing.formats import yearly_csv as csv
from surveys.publishing.tables import TABLE
from surveys.web.trends.yearly import heading

# Of each group; the files hold all.
SHOWN = 100


def visit_groups(visits: Visits) -> list[dict[str, object]]:
    return [
        {
            "title": title,
            "count": len(rows),
            "groups": [
                {
                    "cause": group.cause,
                    "count": len(group.visits),
                    "visits": group.visits[:SHOWN],
                }
                for group in grouped_visits(rows)
            ],
        }
        for title, rows in (
            (gettext("Added visits"), visits.came),
            (gettext("Removed visits"), visits.went),
            (gettext("Changed visits"), visits.changed),
        )
    ]


def number_tables(
    numbers: Mapping[str, Sequence[NumberChange]], visits: Visits
) -> list[dict[str, object]]:
    return [
        {
            "title": gettext(TABLE[name].title),
            "name": name,
            "count": sum(len(group.numbers) for group in groups),
            "groups": [
                {
                    "season_year": group.season_year,
                    "cause": group.cause,
                    "count": len(group.numbers),
                    "rows": [_words(change) for change in group.numbers[:SHOWN]],
                }
                for group in groups
            ],
        }
        for name, groups in numbers_by_table(numbers, visits).items()
    ]


def _words(change: NumberChange) -> tuple[str, str, str, str]:
    """Where, which column, old, new. Numbers that differ in later places only show all of them."""
    before, after = csv.cell_text(change.before), csv.cell_text(change.after)
    if before == after:
        before, after = str(change.before), str(change.after)
    where = ", ".join(str(part) for part in change.key)
    blank = gettext("blank")
    return where, heading(change.column), before or blank, after or blank
