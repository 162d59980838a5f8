"""What is fitted to the frozen rows: occupancy and trends."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from surveys.publishing import tables
from surveys.publishing.frozen import Frozen, write_table
from surveys.publishing.tables import Table
from surveys.trends.from_tables import (
    SITES,
    FrozenPeriods,
    fit_species,
    read_periods,
)
from surveys.trends.result_tables import Row, occupancy_rows, trend_row


def periods_of(frozen: Frozen) -> FrozenPeriods:
    return read_periods(frozen.folder / "data")


def fits_of(periods: FrozenPeriods) -> int:
    """How many fits `add_trends` makes."""
    return len(SITES) * len(periods.species)


def add_trends(
    frozen: Frozen, periods: FrozenPeriods, say: Callable[[str], None] = lambda _: None
) -> None:
    """Write occupancy and trends; ``say`` is called with a sentence before each fit."""
    occupancy: list[Row] = []
    trends: list[Row] = []

    def notify(species: str, site: str) -> None:
        say(f"Trend of {species} by {site}")

    for species, site, result in fit_species(periods, notify=notify):
        occupancy += occupancy_rows(species, site, result)
        trends.append(trend_row(species, site, result))
    _write(frozen, tables.OCCUPANCY, occupancy)
    _write(frozen, tables.TRENDS, trends)


def _write(frozen: Frozen, table: Table, rows: Iterable[Mapping[str, object]]) -> None:
    write_table(frozen.folder, table, ([row[name] for name in table.header] for row in rows))
