"""What is worked out from the frozen rows: the yearly table, occupancy and trends."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from surveys.publishing import tables
from surveys.publishing.frozen import Frozen, write_table
from surveys.publishing.tables import Table
from surveys.trends.fromtables import (
    SITES,
    Row,
    occupancy_rows,
    read_periods,
    results,
    trend_row,
    yearly_rows,
)


def add_results(frozen: Frozen, say: Callable[[str, int, int], None] = lambda *_: None) -> None:
    """Write the three tables beside the rows they come from.

    `say` hears in words which fit begins, how many are done and how many there are.
    """
    periods = read_periods(frozen.folder / "data")
    total, done = len(SITES) * len(periods.species), 0

    def said(species: str, site: str) -> None:
        nonlocal done
        say(f"Trend of {species}, site = {site}", done, total)
        done += 1

    _write(frozen, tables.YEARLY, yearly_rows(periods))
    occupancy: list[Row] = []
    trends: list[Row] = []
    for species, site, result in results(periods, said=said):
        occupancy += occupancy_rows(species, site, result)
        trends.append(trend_row(species, site, result))
    _write(frozen, tables.OCCUPANCY, occupancy)
    _write(frozen, tables.TRENDS, trends)


def _write(frozen: Frozen, table: Table, rows: Iterable[Mapping[str, object]]) -> None:
    write_table(frozen.folder, table, ([row[name] for name in table.header] for row in rows))
