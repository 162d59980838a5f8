"""The yearly table of a publication: the one that the Trends page shows, up to a season year.

Readers who work it out again from the published rows go another way
(`surveys.trends.result_tables.yearly_rows`), which is a check of this one from outside.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from surveys.publishing.tables import YEARLY
from surveys.trends.table import (
    YearRow,
    row_values,
)


def yearly_cells(rows: Iterable[YearRow]) -> Iterator[list[object]]:
    """The rows as cells in the order of the table's columns."""
    for row in rows:
        values = row_values(row)
        yield [values[name] for name in YEARLY.header]
