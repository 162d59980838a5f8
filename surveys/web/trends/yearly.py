"""The yearly table as a screen shows it: names people use, and shares in percent.

Files for machines have the same columns with the numbers themselves
(`surveys/publishing/formats/yearly_csv.py`).
"""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.core.paginator import Page, Paginator
from django.http import HttpRequest

from surveys.charts.words import flags_in_words, share
from surveys.dates import short_day
from surveys.language import gettext
from surveys.protocol.words import number
from surveys.publishing.formats.yearly_csv import HEADER, cell_text
from surveys.trends.columns import COLUMNS, head_words
from surveys.trends.table import YearRow, row_values

_COLUMN = {column.name: column for column in COLUMNS}

# A row takes about 1 kB of HTML: phones show it as a card with the name of each value.
ROWS_PER_PAGE = 60


def page_of_rows(request: HttpRequest, rows: Sequence[Any]) -> Page:
    """The rows that the page shows; files have them all."""
    return Paginator(rows, ROWS_PER_PAGE).get_page(request.GET.get("page"))


def live_rows(rows: Iterable[YearRow]) -> list[list[object]]:
    """Values of rows in the order of the columns."""
    return [[row_values(row)[name] for name in HEADER] for row in rows]


def table_context(
    header: Sequence[str], rows: Iterable[Sequence[object]], names: Mapping[str, str]
) -> dict[str, Any]:
    """Heads and rows for `trends/table.html`; numbers stand to the right. `names` are common names
    by scientific name, shown beside these."""
    aligns = ["num" if _is_number(name) else "" for name in header]
    return {
        "heads": [(heading(name), align) for name, align in zip(header, aligns, strict=True)],
        "rows": [
            {
                "name": names.get(str(row[0]), ""),
                "scientific_name": row[0],
                "cells": [
                    (align, screen_text(name, value), heading(name))
                    for name, align, value in zip(header[1:], aligns[1:], row[1:], strict=True)
                ],
            }
            for row in rows
        ],
    }


def screen_text(column: str, value: object) -> str:
    """A value as people read it; blank for None."""
    if column == "flags":
        return flags_in_words(filter(None, str(value or "").split("; "))) or "–"
    if isinstance(value, float):
        is_share = _COLUMN[column].maximum == 1
        return share(value) if is_share else number(f"{value:.2f}")
    if isinstance(value, dt.date):
        return short_day(value)
    return cell_text(value)


def heading(name: str) -> str:
    """The head of a column in the reader's language."""
    return gettext(head_words(name))


def _is_number(name: str) -> bool:
    return name in _COLUMN and _COLUMN[name].type in ("integer", "number")
