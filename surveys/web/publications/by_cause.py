"""What differs between two versions, grouped by cause, as the pages show it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from surveys.charts.method_words import method_in_words
from surveys.charts.model_words import model_in_words
from surveys.charts.words import written_flags_in_words
from surveys.language import gettext
from surveys.publishing.causes import Visits, grouped_visits, numbers_by_table
from surveys.publishing.differences import NumberChange
from surveys.publishing.formats import yearly_csv as csv
from surveys.publishing.tables import TABLE
from surveys.web.trends.yearly import heading

# Of each group; the files hold all.
SHOWN = 100


def visit_groups(visits: Visits, *, may_differ: bool = False) -> list[dict[str, object]]:
    """`may_differ` where those that are told as changed were not compared whole."""
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
            (
                gettext("Visits that may change") if may_differ else gettext("Changed visits"),
                visits.changed,
            ),
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


def _text(column: str, value: object) -> str:
    """A cell as it was published, with words for codes."""
    text = csv.cell_text(value)
    if column.endswith("flags"):
        return written_flags_in_words(text)
    if column in ("detection_model", "occupancy_model"):
        return model_in_words(text)
    if column == "method":
        return gettext("; ").join(method_in_words(code) for code in text.split("; "))
    return text


def _words(change: NumberChange) -> tuple[str, str, str, str]:
    """Where, which column, old, new. Numbers that differ in later places only show all of them."""
    before, after = (_text(change.column, value) for value in (change.before, change.after))
    if before == after:
        before, after = str(change.before), str(change.after)
    where = ", ".join(str(part) for part in change.key)
    blank = gettext("blank")
    return where, heading(change.column), before or blank, after or blank
