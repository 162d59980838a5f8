"""The trend that is told: change within routes, over years that differ from each other.

Levels of the years (``year_levels``), a line through them (``year_slope``), and the line on every
scale in which it is told. All scales carry the same limits through the same curve, so they agree
on whether anything changed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from surveys.trends import estimates
from surveys.trends.estimates import Estimate, merge_flags, not_estimable
from surveys.trends.models.level_models import LevelModel, equal_detection
from surveys.trends.models.trend import TrendSummary
from surveys.trends.models.year_levels import YearLevels, fit_year_levels
from surveys.trends.models.year_slope import (
    FEWEST_YEARS,
    YearSlope,
    line_design,
    slope_over_years,
)
from surveys.trends.numerics.arrays import IntArray, distinct
from surveys.trends.numerics.intervals import percent_per_step
from surveys.trends.printing import PrintedRow, PrintsAsTable, estimate_rows

METHOD = "yearly-line"
INTERVAL = "routes-and-years"
# Common practice, no source: a change that rests on fewer is not told.
FEWEST_STOPS_HEARD = 10
FEWEST_SEASONS_HEARD = 10
FEWEST_ROUTES_HEARD = 3
FEWEST_ROUTES = 8
NOTHING_MORE: Mapping[int, float] = {}


@dataclass(frozen=True, kw_only=True, repr=False)
class YearTrend(PrintsAsTable):
    """Yearly levels with the line through them; ``pooled`` is the line without the column of
    route means, the same as ``line`` where routes did not come and go. Lines are None where the
    data carry none; ``flags`` say why."""

    levels: YearLevels
    line: YearSlope | None
    pooled: YearSlope | None
    flags: tuple[str, ...]
    pooled_levels: YearLevels | None = None

    def printed_title(self) -> str:
        years = self.levels.years
        span = f"{years[0]} to {years[-1]}" if len(years) else "no season years"
        return f"{METHOD}, {span}, {self.levels.routes} routes"

    def printed_rows(self) -> Sequence[PrintedRow]:
        change = summarize_year_trend(self)
        shares = (share for _, share in year_trend_line(self))
        return estimate_rows((change.log_odds, change.occupancy, year_scatter(self), *shares))

    def printed_flags(self) -> tuple[str, ...]:
        return self.flags


def fit_year_trend(
    detections: ArrayLike,
    season_years: ArrayLike,
    routes: ArrayLike,
    *,
    occupancy: Mapping[str, ArrayLike] | None = None,
    detection: Mapping[str, ArrayLike] | None = None,
    detection_by_year: bool = False,
    empty: ArrayLike | None = None,
    sites: ArrayLike | None = None,
    breaks: Sequence[int] = (),
    confidence: float = 0.95,
    model: LevelModel = equal_detection,
    with_pooled: bool = True,
    like: YearLevels | Mapping[str, float] | None = None,
    like_if_small: bool = False,
) -> YearTrend:
    """Fit the change of occupancy within routes, over years that differ from each other.

    Parameters
    ----------
    detections, season_years, routes, occupancy, detection, detection_by_year, empty, sites
    model, like, like_if_small
        As ``fit_year_levels`` takes them.
    breaks
        Season years from which on the protocol was another, as ``slope_over_years`` takes them.
    confidence
        Of all intervals.
    with_pooled
        Whether the line that does not hold routes apart is fitted as well.

    Returns
    -------
    YearTrend
        Without a line, and with flags, where there are fewer than 5 season years, 10 stops, 10
        seasons of a site or 3 routes with a detection: no interval would be honest. Where a site is
        a whole route, stops are not counted.

    Raises
    ------
    ValueError
        Where arrays do not fit each other.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> routes, years = np.arange(240) // 4 % 10, 2015 + np.arange(240) // 40
    >>> there = rng.random(240) < 0.5
    >>> heard = there[:, None] & (rng.random((240, 3)) < 0.6)
    >>> trend = fit_year_trend(heard, years, routes)
    >>> low, high = trend.line.limits
    >>> bool(low < 0 < high)
    True
    """
    fit = partial(
        fit_year_levels,
        detections,
        season_years,
        routes,
        occupancy=occupancy,
        detection=detection,
        detection_by_year=detection_by_year,
        empty=empty,
        sites=sites,
        model=model,
        like_if_small=like_if_small,
    )
    levels = fit(like=like)
    by_route = sites is not None and _one_site_per_route(sites, routes)
    flags = merge_flags(levels.flags, size_flags(levels, by_route=by_route))
    if estimates.TOO_FEW_DATA in flags or levels.covariance is None:
        return YearTrend(levels=levels, line=None, pooled=None, flags=flags)
    line = slope_over_years(levels, breaks=breaks, confidence=confidence)
    pooled, without = line, None
    if levels.within_routes and with_pooled:
        without = fit(within_routes=False, like=levels)
        pooled = slope_over_years(without, breaks=breaks, confidence=confidence)
    if line and pooled and abs(line.slope - pooled.slope) > line.se:
        flags = merge_flags(flags, (estimates.ROUTES_CHANGED,))
    if line is None:
        why = estimates.ROUTES_ALIKE if line_design(levels, breaks) is not None else None
        flags = merge_flags(flags, (why or estimates.TOO_FEW_DATA,))
    return YearTrend(levels=levels, line=line, pooled=pooled, flags=flags, pooled_levels=without)


def _one_site_per_route(sites: ArrayLike, routes: ArrayLike) -> bool:
    return len(distinct(np.asarray(sites))) == len(distinct(np.asarray(routes)))


def size_flags(levels: YearLevels, *, by_route: bool) -> tuple[str, ...]:
    """What is too little for a trend to be told."""
    few_data = (
        len(levels.years) < FEWEST_YEARS
        or levels.seasons_heard < FEWEST_SEASONS_HEARD
        or (levels.sites_heard < FEWEST_STOPS_HEARD and not by_route)
        or levels.routes_heard < FEWEST_ROUTES_HEARD
    )
    few_routes = levels.routes < FEWEST_ROUTES
    return (
        *((estimates.TOO_FEW_DATA,) if few_data else ()),
        *((estimates.FEW_CLUSTERS,) if few_routes else ()),
    )


def pooled_trend(trend: YearTrend) -> YearTrend:
    """The same with the pooled line in place of that within routes."""
    pooled = trend.pooled_levels or trend.levels
    return replace(trend, levels=pooled, line=trend.pooled)


def summarize_year_trend(trend: YearTrend) -> TrendSummary:
    """The slope on every scale: log odds and percent of the odds per year; percent of the share of
    sites and percentage points per year, between the line in the first and in the last year of each
    stretch without a break."""
    line = trend.line
    if line is None:
        return TrendSummary(
            log_odds=_unknown("trend, log odds of occupancy per year", trend),
            odds=_unknown("trend, % change in odds per year", trend),
            occupancy=_unknown("trend, % change in share of sites per year", trend),
            points=_unknown("trend, percentage points of sites per year", trend),
        )
    stretches = _stretches(trend.levels, line)
    span = sum(float(np.ptp(years)) for years in stretches)

    def points(slope: float) -> float:
        ends = (_ends(trend.levels, line, years, slope) for years in stretches)
        return 100 * sum(last - first for first, last in ends) / span

    def on(scale, name: str, *, se: float | None = None) -> Estimate:  # type: ignore[no-untyped-def]
        low, high = line.limits
        return Estimate(
            name=name,
            value=scale(line.slope),
            low=scale(low),
            high=scale(high),
            interval=INTERVAL,
            method=METHOD,
            flags=trend.flags,
            se=se,
            level=line.confidence,
        )

    return TrendSummary(
        log_odds=on(float, "trend, log odds of occupancy per year", se=line.se),
        odds=on(percent_per_step, "trend, % change in odds per year"),
        occupancy=on(
            partial(percent_of_share, trend), "trend, % change in share of sites per year"
        ),
        points=on(points, "trend, percentage points of sites per year"),
    )


def percent_of_share(
    trend: YearTrend,
    slope: float,
    *,
    more_at_first: Mapping[int, float] = NOTHING_MORE,
    more_at_last: Mapping[int, float] = NOTHING_MORE,
) -> float:
    """Percent change of the share of sites per year, the line turned to ``slope``. ``more`` is
    added to the share at either end of a stretch, by season year."""
    line = trend.line
    if line is None:
        raise ValueError("trend: there is no line")
    change, span = 0.0, 0.0
    for years in _stretches(trend.levels, line):
        first, last = _ends(trend.levels, line, years, slope)
        first += more_at_first.get(int(years[0]), 0.0)
        last += more_at_last.get(int(years[-1]), 0.0)
        change += float(np.log(last / first))
        span += float(np.ptp(years))
    return percent_per_step(change / span)


def year_trend_line(trend: YearTrend) -> tuple[tuple[int, Estimate], ...]:
    """The share of sites on the line in each season year, with the interval of the line."""
    line = trend.line
    estimates = []
    for year in trend.levels.years.tolist():
        name = f"occupancy {year}"
        if line is None:
            estimates.append((year, _unknown(name, trend)))
            continue
        middle, half = line.at(year), line.half_width(year)
        value, low, high = (
            trend.levels.mean_share(logit) for logit in (middle, middle - half, middle + half)
        )
        estimates.append(
            (
                year,
                Estimate(
                    name=name,
                    value=value,
                    low=low,
                    high=high,
                    interval=INTERVAL,
                    method=METHOD,
                    flags=trend.flags,
                    level=line.confidence,
                ),
            )
        )
    return tuple(estimates)


def year_scatter(trend: YearTrend) -> Estimate:
    """Standard deviation of the years around the line, on the logit scale."""
    name, line = "scatter of years around the trend, logit scale", trend.line
    if line is None:
        return _unknown(name, trend)
    return Estimate(
        name=name,
        value=line.scatter,
        low=line.scatter_low,
        high=line.scatter_high,
        interval="sum-of-squares",
        method=METHOD,
        flags=trend.flags if line.scatter_high is not None else (*trend.flags, estimates.ONE_SIDED),
        level=line.confidence,
    )


def _stretches(levels: YearLevels, line: YearSlope) -> list[IntArray]:
    """Season years of each stretch between breaks: a step is no change per year."""
    stretch = np.searchsorted(line.breaks, levels.years, side="right")
    return [levels.years[stretch == part] for part in np.unique(stretch)]


def _ends(
    levels: YearLevels, line: YearSlope, years: IntArray, slope: float
) -> tuple[float, float]:
    """The share at either end of a stretch, the line turned to ``slope`` about its middle."""
    middle = float(years.mean())
    level = line.at(middle)
    first, last = float(years[0]), float(years[-1])
    return (
        levels.mean_share(level + slope * (first - middle)),
        levels.mean_share(level + slope * (last - middle)),
    )


def _unknown(name: str, trend: YearTrend) -> Estimate:
    return not_estimable(name, method=METHOD, flags=trend.flags)
