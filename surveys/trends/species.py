"""Everything the yearly tables say of one species, from its listening periods in one call."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from .histories import (
    Histories,
    PeriodColumns,
    Site,
    build_histories,
)
from .models.occupancy import (
    OccupancyFit,
    fit_occupancy,
)
from .models.occupancy_estimates import (
    detection_share,
    occupancy_share,
)
from .models.trend import (
    TrendSummary,
    fit_trend,
    summarize_trend,
    yearly_occupancy,
)
from .results import (
    FEW_CLUSTERS,
    Estimate,
    merge_flags,
)
from .table import (
    YearRow,
    yearly_table,
)


@dataclass(frozen=True, kw_only=True)
class CorrectedYear:
    """Occupancy and detection of one season year, from the visits of that year alone.

    ``occupancy`` takes stops as independent; ``by_route`` is the same value with an interval that
    lets the stops of a route share their fate, as that of ``detection`` does.
    """

    season_year: int
    naive: Estimate
    occupancy: Estimate
    by_route: Estimate
    detection: Estimate


@dataclass(frozen=True, kw_only=True)
class SpeciesResult:
    """``table`` counts, ``years`` correct each year by itself, ``trend`` is the slope over all of
    them and ``line`` the occupancy of each year on that slope."""

    species: str
    table: tuple[YearRow, ...]
    years: tuple[CorrectedYear, ...]
    trend: TrendSummary
    line: tuple[tuple[int, Estimate], ...]


def analyze_species(
    species: str, periods: PeriodColumns, *, site: Site = "stop", level: float = 0.95
) -> SpeciesResult:
    """Table, corrected years and trend of one species.

    Standard errors of the trend are clustered by route: the stops of a route share weather,
    observer and landscape. Detection is free in every corrected year, and one number in the trend.
    """
    histories = build_histories(periods, site=site)
    trend = fit_trend(histories.detected, histories.season_year, histories.cluster)
    return SpeciesResult(
        species=species,
        table=yearly_table(species, periods, level=level),
        years=corrected_years(histories, level=level),
        trend=summarize_trend(trend, level=level),
        line=yearly_occupancy(trend, level=level),
    )


def corrected_years(histories: Histories, *, level: float = 0.95) -> tuple[CorrectedYear, ...]:
    """One single-season fit a season year: a profile-likelihood interval, and those by route."""
    found = []
    for year in np.unique(histories.season_year).tolist():
        rows = histories.season_year == year
        fit = fit_occupancy(histories.detected[rows], clusters=histories.cluster[rows])
        found.append(
            CorrectedYear(
                season_year=year,
                naive=fit.naive,
                occupancy=occupancy_share(fit, level=level),
                by_route=_by_route(occupancy_share, fit, level),
                detection=_by_route(detection_share, fit, level),
            )
        )
    return tuple(found)


def _by_route(share: Callable[..., Estimate], fit: OccupancyFit, level: float) -> Estimate:
    if fit.clustered_covariance is not None:
        return share(fit, level=level, interval="clustered")
    alone = share(fit, level=level)
    return replace(alone, flags=merge_flags(alone.flags, (FEW_CLUSTERS,)))


def corrected_values(species: str, year: CorrectedYear) -> dict[str, object]:
    """A corrected year as column name to value, in the order of ``columns.CORRECTED_COLUMNS``."""
    return {
        "species": species,
        "season_year": year.season_year,
        "occupancy": year.occupancy.value,
        "occupancy_low": year.occupancy.low,
        "occupancy_high": year.occupancy.high,
        "route_low": year.by_route.low,
        "route_high": year.by_route.high,
        "detection": year.detection.value,
        "detection_low": year.detection.low,
        "detection_high": year.detection.high,
        "interval": year.occupancy.interval,
        "method": year.occupancy.method,
        "flags": "; ".join(merge_flags(year.occupancy.flags, year.by_route.flags)),
    }


def trend_values(result: SpeciesResult) -> tuple[dict[str, object], ...]:
    """The trend on each of its scales, in the order of ``columns.TREND_COLUMNS``."""
    trend = result.trend
    return tuple(
        {
            "species": result.species,
            "years": len(result.line),
            "scale": estimate.name.removeprefix("trend, "),
            "trend": estimate.value,
            "trend_low": estimate.low,
            "trend_high": estimate.high,
            "interval": estimate.interval,
            "method": estimate.method,
            "flags": "; ".join(estimate.flags),
        }
        for estimate in (trend.log_odds, trend.odds, trend.occupancy, trend.points)
    )
