"""What is fitted to the frozen rows: occupancy and trends, how much these depend on choices, and
how often they would be false."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from surveys.language import gettext, said
from surveys.publishing import tables
from surveys.publishing.frozen import Frozen, write_table
from surveys.publishing.tables import Table
from surveys.trends.community import is_told
from surveys.trends.from_tables import (
    SITES,
    FrozenPeriods,
    fit_species,
    null_runs,
    read_periods,
)
from surveys.trends.null_run import RUNS
from surveys.trends.result_tables import null_row, occupancy_rows, sensitivity_rows, trend_rows
from surveys.trends.sighting_tables import sighting_share_rows
from surveys.trends.water_tables import change_effect_rows, water_and_calls_rows, water_rows


def periods_of(frozen: Frozen) -> FrozenPeriods:
    return read_periods(frozen.folder / "data")


def steps_of(periods: FrozenPeriods) -> int:
    """How many steps `add_trends` takes: a fit by stops and by routes, and a null run."""
    return (len(SITES) + 1) * len(periods.species)


def add_trends(
    frozen: Frozen,
    periods: FrozenPeriods,
    *,
    runs: int = RUNS,
    report: Callable[[str], None] = lambda _: None,
) -> None:
    """Write occupancy, trends, sensitivity, the water, and null runs of ``runs`` simulated surveys;
    ``report`` is called with a sentence before each step."""

    def notify(species: str, site: str) -> None:
        report(said("Trend of {species} by {site}", species=species, site=gettext(site)))

    results = list(fit_species(periods, notify=notify))
    _write(
        frozen,
        tables.OCCUPANCY,
        (row for result in results for row in occupancy_rows(*result)),
    )
    _write(frozen, tables.TRENDS, trend_rows(results))
    _write(
        frozen,
        tables.SENSITIVITY,
        (row for result in results for row in sensitivity_rows(*result)),
    )
    _write(frozen, tables.WATER, water_rows(periods))
    _write(frozen, tables.WATER_AND_CALLS, water_and_calls_rows(results))
    _write(frozen, tables.CHANGE_EFFECTS, change_effect_rows(results))
    _write(frozen, tables.SIGHTING_SHARES, sighting_share_rows(frozen.folder / "data"))
    told = {
        species
        for species, site, result in results
        if site == "stop" and is_told(result.trend.occupancy)
    }
    whole_told = {
        species
        for species, site, result in results
        if site == "stop" and result.whole is not None and is_told(result.whole.change)
    }
    _write(
        frozen,
        tables.NULL_RUNS,
        (
            null_row(species, run)
            for species, run in null_runs(
                periods,
                told,
                whole_told=whole_told,
                runs=runs,
                notify=lambda name: report(said("Counting false alarms: {species}", species=name)),
            )
        ),
    )


def _write(frozen: Frozen, table: Table, rows: Iterable[Mapping[str, object]]) -> None:
    write_table(frozen.folder, table, ([row[name] for name in table.header] for row in rows))
