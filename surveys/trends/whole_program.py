"""The trend of the whole program, whatever part of it was surveyed in which season.

Each region is a stratum with yearly levels and models of its own; the yearly shares are weighted as
the program says (``models.strata``), and the line through them is that of every trend.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from surveys.trends import estimates
from surveys.trends.breaks import steps_within, told_years
from surveys.trends.choices import ALIKE, WEIGHTED
from surveys.trends.estimates import Estimate, flagged, merge_flags, not_estimable
from surveys.trends.histories import Site
from surveys.trends.models.strata import (
    INTERVAL,
    METHOD,
    Stratum,
    WeightedLevels,
    weighted_levels,
    weighted_shares,
)
from surveys.trends.models.year_levels import YearLevels
from surveys.trends.models.year_slope import YearSlope, line_design, slope_over_years
from surveys.trends.models.year_trend import (
    YearTrend,
    percent_of_share,
    size_flags,
    summarize_year_trend,
)
from surveys.trends.numerics.arrays import BoolArray
from surveys.trends.periods import SpeciesPeriods, in_region
from surveys.trends.silent_regions import SurveyedRegion, with_missed
from surveys.trends.species_result import SensitivityLine, WholeProgram
from surveys.trends.told_trend import fit_told, told_data

# Common practice, no source, as calibrated: errors by route of fewer are far too small.
FEWEST_ROUTES_OF_A_REGION = 4


@dataclass(frozen=True, kw_only=True)
class Regions:
    """The strata of a species in a program; ``breaks`` are the season years from which on listening
    was another in one of them, ``refused`` says why nothing can be told of the whole."""

    strata: tuple[Stratum, ...]
    breaks: tuple[int, ...]
    by_route: bool
    refused: tuple[str, ...] = ()


def fit_regions(periods: SpeciesPeriods, site: Site) -> Regions | None:
    """Yearly levels of every region with a weight; None where the program gives no weights."""
    weights = weights_of(periods)
    if not weights:
        return None
    refused = refusals(periods)
    if refused:
        return Regions(strata=(), breaks=(), by_route=site == "route", refused=refused)
    regions, breaks = [], set()
    for region, weight in weights.items():
        data = told_data(in_region(periods, region), site)
        fit = fit_told(data, rows=np.ones(len(data.histories.site), dtype=np.bool_))
        regions.append(
            SurveyedRegion(
                stratum=Stratum(weight=weight, levels=fit.levels),
                histories=data.histories,
                fit=data.choice.trend.fit,
            )
        )
        breaks |= set(data.breaks.years)
    return regions_of(regions, breaks=tuple(sorted(breaks)), by_route=site == "route")


def weights_of(periods: SpeciesPeriods) -> dict[str, float]:
    """The weights of the regions that count; empty where the program gives none."""
    if periods.region is None:
        return {}
    return {region: weight for region, weight in periods.weights.items() if weight > 0}


def refusals(periods: SpeciesPeriods) -> tuple[str, ...]:
    """Why nothing can be told of regions with weights before anything is fitted."""
    surveyed = set(np.unique(periods.region).tolist()) if periods.region is not None else set()
    return (
        *((estimates.REGION_NOT_WEIGHTED,) if surveyed - set(periods.weights) else ()),
        *((estimates.REGION_NOT_SURVEYED,) if set(weights_of(periods)) - surveyed else ()),
    )


def regions_of(
    surveyed: Sequence[SurveyedRegion], *, breaks: tuple[int, ...] = (), by_route: bool = False
) -> Regions:
    """The regions, or why nothing can be told of them together."""
    strata = with_missed(surveyed)
    few = any(stratum.levels.routes < FEWEST_ROUTES_OF_A_REGION for stratum in strata)
    unknown = any(s.levels.covariance is None and not s.silent for s in strata)
    refused = (
        *((estimates.REGION_FEW_ROUTES,) if few else ()),
        *((estimates.REGION_UNKNOWN,) if unknown else ()),
        *((estimates.NEVER_HEARD,) if all(stratum.silent for stratum in strata) else ()),
    )
    return Regions(strata=strata, breaks=breaks, by_route=by_route, refused=refused)


def whole_program(regions: Regions, *, flags: tuple[str, ...] = ()) -> WholeProgram:
    """The change and the yearly shares of the program; ``flags`` stand with the change too.

    Examples
    --------
    >>> from surveys.trends.example import example_periods
    >>> periods = example_periods(weights={"North": 1.0, "South": 3.0})
    >>> told = whole_program(fit_regions(periods, "stop"))
    >>> bool(told.change.low < 0 < told.change.high), len(told.shares)
    (True, 6)
    """
    if regions.refused:
        name = "% change in share of sites per year, whole program"
        return WholeProgram(
            change=not_estimable(name, method=METHOD, flags=regions.refused), shares=()
        )
    whole = weighted_levels(regions.strata)
    own = _flags(regions.strata, whole)
    change = _change(whole, regions, own)
    return WholeProgram(change=flagged(change, *flags), shares=weighted_shares(whole, flags=own))


def weighting_lines(regions: Regions | None) -> Iterator[SensitivityLine]:
    """The change under the program's weights, and as if all of its regions weighed alike."""
    if regions is None:
        return
    alike = tuple(replace(stratum, weight=1.0) for stratum in regions.strata)
    for name, of in ((WEIGHTED, regions), (ALIKE, replace(regions, strata=alike))):
        told = whole_program(of)
        yield SensitivityLine(
            name=name,
            change=replace(told.change, name=f"% change in share of sites per year, {name}"),
            routes=sum(stratum.levels.routes for stratum in of.strata),
            seasons=len(told.shares),
        )


def _flags(strata: tuple[Stratum, ...], whole: WeightedLevels) -> tuple[str, ...]:
    seasons = {year for stratum in strata for year in stratum.levels.years.tolist()}
    gaps = seasons != set(whole.levels.years.tolist())
    return merge_flags(
        *(stratum.levels.flags for stratum in strata if not stratum.silent),
        (estimates.REGION_SILENT,) if any(stratum.silent for stratum in strata) else (),
        (estimates.REGION_GAPS,) if gaps else (),
    )


def _change(whole: WeightedLevels, regions: Regions, flags: tuple[str, ...]) -> Estimate:
    """The line through the yearly shares, over the seasons that carry one."""
    told = told_years(whole.levels.years.tolist(), regions.breaks)
    kept = np.isin(whole.levels.years, told)
    steps = steps_within(told, regions.breaks)
    parts = whole.parts[:, kept][:, :, kept]
    of_told = replace(
        whole, levels=_of_years(whole.levels, kept), parts=parts, missed=whole.missed[kept]
    )
    too_little = size_flags(of_told.levels, by_route=regions.by_route)
    design = line_design(of_told.levels, steps)
    line = None
    if design is not None and estimates.TOO_FEW_DATA not in too_little:
        degrees = of_told.degrees(np.linalg.pinv(design)[1])
        line = slope_over_years(of_told.levels, breaks=steps, route_degrees=degrees)
    flags = merge_flags(
        flags,
        too_little,
        () if kept.all() else (estimates.YEARS_LEFT_OUT,),
        () if line is not None else (estimates.TOO_FEW_DATA,),
    )
    fit = YearTrend(levels=of_told.levels, line=line, pooled=line, flags=flags)
    change = summarize_year_trend(fit).occupancy
    if line is None:
        return replace(change, method=METHOD)
    low, high = _with_missed(fit, line, of_told)
    return replace(
        change,
        low=low,
        high=high,
        method=METHOD,
        interval=f"{INTERVAL}+years",
    )


def _with_missed(fit: YearTrend, line: YearSlope, whole: WeightedLevels) -> tuple[float, float]:
    """Limits of the change where the species may have left a silent region or come to it."""
    missed = dict(zip(whole.levels.years.tolist(), whole.missed.tolist(), strict=True))
    low, high = line.limits
    return (
        percent_of_share(fit, low, more_at_first=missed),
        percent_of_share(fit, high, more_at_last=missed),
    )


def _of_years(levels: YearLevels, kept: BoolArray) -> YearLevels:
    covariance = levels.covariance
    return replace(
        levels,
        years=levels.years[kept],
        levels=levels.levels[kept],
        covariance=None if covariance is None else covariance[np.ix_(kept, kept)],
        information=levels.information[kept],
    )
