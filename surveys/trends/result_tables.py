"""Results as rows of a publication's tables, and results read back from those rows."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from surveys.trends.community import community_of, is_told
from surveys.trends.estimates import Estimate, merge_flags
from surveys.trends.former_codes import (
    current_cell,
    current_code,
    current_codes,
    current_model,
)
from surveys.trends.from_tables import FrozenPeriods
from surveys.trends.histories import Site
from surveys.trends.joint_entries import mark_row
from surveys.trends.null_run import NullRun
from surveys.trends.periods import species_periods
from surveys.trends.species_result import (
    ChorusTrend,
    SensitivityLine,
    SpeciesResult,
    SpeciesYear,
    Trend,
    WholeProgram,
    YearlyEstimates,
)
from surveys.trends.table import count_years, row_values, year_row

# Column name to value; None for blank.
Row = dict[str, object]
# First and last night on which the species was heard.
Nights = tuple[dt.date | None, dt.date | None]


def yearly_rows(frozen: FrozenPeriods) -> Iterator[Row]:
    """Rows of the yearly table, by species and season year."""
    for position in sorted(range(len(frozen.species)), key=frozen.species.__getitem__):
        periods = species_periods(frozen.periods, position)
        name = frozen.species[position]
        for counts in count_years(name, periods.columns):
            yield row_values(mark_row(year_row(counts), frozen.told))


def corrected_row(species: str, year: SpeciesYear, whole: Estimate | None = None) -> Row:
    """A year corrected for detection, in the order of ``columns.CORRECTED_COLUMNS``; ``whole`` is
    the share of the whole program in it."""
    by_route = year.occupancy_by_route
    return {
        "species": species,
        "season_year": year.season_year,
        **_interval("occupancy", year.occupancy),
        "route_low": by_route.low if by_route else None,
        "route_high": by_route.high if by_route else None,
        **_interval("whole", whole),
        **_interval("detection", year.detection),
        "borrowed_from": year.borrowed_from,
        "interval": year.occupancy.interval,
        "method": year.occupancy.method,
        "flags": _joined(merge_flags(year.occupancy.flags, by_route.flags if by_route else ())),
    }


def occupancy_rows(species: str, site: Site, result: SpeciesResult) -> Iterator[Row]:
    """One row a season year with a listening period in the calling season."""
    line, naive_line = dict(result.trend.line), dict(result.trend.naive_line)
    whole = dict(result.whole.shares) if result.whole else {}
    for year in result.years:
        yield {
            "species": species,
            "site": site,
            "season_year": year.season_year,
            "sites": year.sites,
            "sites_heard": year.sites_heard,
            **_interval("naive", year.naive),
            **_interval("occupancy", year.occupancy),
            **_interval("detection", year.detection),
            "borrowed_from": year.borrowed_from,
            **_interval("trend", line.get(year.season_year)),
            **_interval("naive_trend", naive_line.get(year.season_year)),
            **_interval("whole", whole.get(year.season_year)),
            "detection_model": year.detection_model,
            "method": _method(year.occupancy),
            "flags": _joined(year.flags),
        }


def trend_row(species: str, site: Site, result: SpeciesResult) -> Row:
    """The row of the table of trends."""
    trend, chorus = result.trend, result.chorus
    return {
        "species": species,
        "site": site,
        "first_year": trend.first_year,
        "last_year": trend.last_year,
        "breaks": _joined(tuple(map(str, trend.breaks))),
        "told": is_told(trend.occupancy),
        **_interval("change", trend.occupancy),
        **_interval("pooled_change", trend.pooled),
        **_interval("naive_change", trend.naive),
        **_interval("log_odds", trend.log_odds),
        **_interval("scatter", trend.scatter),
        **_interval("whole_change", result.whole.change if result.whole else None),
        "whole_flags": _joined(result.whole.change.flags) if result.whole else "",
        **_interval("chorus_change", chorus.full_chorus if chorus else None),
        **_interval("index_odds_change", chorus.index_odds if chorus else None),
        "chorus_flags": _joined(chorus.full_chorus.flags) if chorus else "",
        "detection_model": trend.detection_model,
        "occupancy_model": trend.occupancy_model,
        "method": _method(trend.occupancy),
        "flags": _joined(trend.occupancy.flags),
    }


def trend_rows(results: Sequence[tuple[str, Site, SpeciesResult]]) -> list[Row]:
    """The rows of the table of trends, with what the species of the program tell of each other,
    by stops and by routes."""
    rows = []
    for site in dict.fromkeys(site for _, site, _ in results):
        of_site = [(species, result) for species, at, result in results if at == site]
        together = community_of([(name, result.trend.occupancy) for name, result in of_site])
        shared = {one.species: one for one in together.species} if together else {}
        for species, result in of_site:
            one = shared.get(species)
            rows.append(
                trend_row(species, site, result)
                | _interval("shrunken_change", one.shrunken if one else None)
                | {"discovery_rate": one.discovery if one else None}
            )
    return rows


def null_row(species: str, run: NullRun) -> Row:
    """The row of the table of null runs."""
    return {
        "species": species,
        "runs": run.runs,
        "fell": run.fell,
        "rose": run.rose,
        **_interval("false_alarms", run.alarms),
        "whole_runs": run.whole.runs if run.whole else None,
        "whole_fell": run.whole.fell if run.whole else None,
        "whole_rose": run.whole.rose if run.whole else None,
        **_interval("whole_false_alarms", run.whole.alarms if run.whole else None),
    }


def null_run_from_row(row: Mapping[str, Any]) -> NullRun:
    """What ``null_row`` wrote."""
    whole = None
    if row["whole_runs"] is not None:
        whole = NullRun(runs=row["whole_runs"], fell=row["whole_fell"], rose=row["whole_rose"])
    return NullRun(runs=row["runs"], fell=row["fell"], rose=row["rose"], whole=whole)


def sensitivity_rows(species: str, site: Site, result: SpeciesResult) -> Iterator[Row]:
    """One row a choice under which the trend was worked out again, the told one first."""
    for number, line in enumerate(result.sensitivity, start=1):
        yield {
            "species": species,
            "site": site,
            "number": number,
            "choice": line.name,
            "applies": line.applies,
            **_interval("change", line.change),
            "routes": line.routes,
            "seasons": line.seasons,
            "flags": _joined(line.change.flags),
        }


def result_from_rows(
    years: Sequence[Mapping[str, Any]],
    trend: Mapping[str, Any],
    nights: Mapping[int, Nights],
    sensitivity: Iterable[Mapping[str, Any]] = (),
) -> SpeciesResult:
    """The result that ``occupancy_rows``, ``trend_row`` and ``sensitivity_rows`` wrote, as far as
    the rows hold it.

    ``trend`` may be empty; ``nights`` come from the yearly table, by season year. Flags of a row
    stand with the estimate they are mostly about: occupancy, and the change of the share of sites.
    """
    return SpeciesResult(
        years=tuple(_year(row, nights.get(row["season_year"], (None, None))) for row in years),
        trend=Trend(
            log_odds=_estimate(trend, "log_odds"),
            occupancy=_estimate(trend, "change", _flags(trend)),
            pooled=_estimate(trend, "pooled_change"),
            scatter=_estimate(trend, "scatter"),
            line=_line(years, "trend"),
            naive=_estimate(trend, "naive_change"),
            naive_line=_line(years, "naive_trend"),
            first_year=trend.get("first_year"),
            last_year=trend.get("last_year"),
            breaks=tuple(int(year) for year in _split(trend.get("breaks"))),
            detection_model=current_model(trend.get("detection_model") or ""),
            occupancy_model=current_model(trend.get("occupancy_model") or ""),
        ),
        whole=_whole(years, trend),
        chorus=_chorus(trend),
        sensitivity=tuple(
            SensitivityLine(
                name=current_code(row["choice"]),
                change=_estimate(row, "change", _flags(row)),
                routes=row["routes"],
                seasons=row["seasons"],
                applies=row["applies"],
            )
            for row in sensitivity
        ),
    )


def _year(row: Mapping[str, Any], nights: Nights) -> SpeciesYear:
    return SpeciesYear(
        season_year=row["season_year"],
        sites=row["sites"],
        sites_heard=row["sites_heard"],
        first_night=nights[0],
        last_night=nights[1],
        naive=_estimate(row, "naive"),
        occupancy=_estimate(row, "occupancy", _flags(row)),
        detection=_estimate(row, "detection"),
        detection_model=current_model(row["detection_model"] or ""),
        # Publications from before have no such column.
        borrowed_from=row.get("borrowed_from"),
    )


def _whole(years: Iterable[Mapping[str, Any]], trend: Mapping[str, Any]) -> WholeProgram | None:
    change = _estimate(trend, "whole_change", _codes(trend.get("whole_flags")))
    if change.value is None and not change.flags:
        return None
    return WholeProgram(change=change, shares=_line(years, "whole"))


def _chorus(trend: Mapping[str, Any]) -> ChorusTrend | None:
    full = _estimate(trend, "chorus_change", _codes(trend.get("chorus_flags")))
    if full.value is None and not full.flags:
        return None
    return ChorusTrend(
        full_chorus=full, index_odds=_estimate(trend, "index_odds_change", full.flags)
    )


def _line(rows: Iterable[Mapping[str, Any]], name: str) -> YearlyEstimates:
    return tuple(
        (row["season_year"], _estimate(row, name)) for row in rows if row[name] is not None
    )


def _interval(name: str, estimate: Estimate | None) -> Row:
    """The three cells of an estimate: value and limits."""
    if estimate is None:
        return dict.fromkeys((name, f"{name}_low", f"{name}_high"))
    return {name: estimate.value, f"{name}_low": estimate.low, f"{name}_high": estimate.high}


def _estimate(row: Mapping[str, Any], name: str, flags: tuple[str, ...] = ()) -> Estimate:
    # The column speaks of the number that the row is about.
    told = row.get("method") if name in ("occupancy", "change", "pooled_change") else ""
    interval, _, method = current_cell("method", told or "").partition("; ")
    return Estimate(
        name=name,
        value=row.get(name),
        low=row.get(f"{name}_low"),
        high=row.get(f"{name}_high"),
        interval=interval,
        method=method,
        flags=flags,
    )


def _method(estimate: Estimate) -> str:
    return f"{estimate.interval}; {estimate.method}"


def _joined(flags: tuple[str, ...]) -> str:
    return "; ".join(flags)


def _flags(row: Mapping[str, Any]) -> tuple[str, ...]:
    return _codes(row.get("flags"))


def _codes(text: str | None) -> tuple[str, ...]:
    return current_codes(_split(text))


def _split(text: str | None) -> tuple[str, ...]:
    return tuple(text.split("; ")) if text else ()
