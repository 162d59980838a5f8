"""How many more years, or more routes, a trend needs before a change is likely to be seen.

The scatter of years and the errors by route are those of a fitted trend. Years scatter as they did,
and the errors of a route keep the correlation over years that they had, a constant part and one
that dies away; with more routes they shrink in proportion. The chance that the interval leaves out
no change is that of a noncentral t, with the degrees of freedom that the trend would have.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit, nctdtr

from surveys.trends.models.year_slope import matched_degrees
from surveys.trends.models.year_trend import YearTrend
from surveys.trends.numerics.arrays import FloatArray, IntArray
from surveys.trends.numerics.intervals import percent_per_step, t_quantile
from surveys.trends.numerics.roots import root

PERCENT = -3.0
# Common practice, no source: what a plan should reach.
AIM = 0.8
MOST_YEARS = 40
MOST_ROUTES = 500
_STEEPEST = 3.0


@dataclass(frozen=True, kw_only=True)
class NeededEffort:
    """``chance`` is that of seeing a change of ``percent`` a year in as many years with as many
    routes as there are. ``years`` more with these routes, or ``routes`` more over as many years,
    bring it to ``aim``; 0 where it is reached, None where no number up to 40 or 500 does.
    ``years_low`` and ``years_high`` are ``years`` at either end of the interval of the scatter."""

    percent: float
    aim: float
    chance: float
    years: int | None
    routes: int | None
    years_low: int | None
    years_high: int | None


@dataclass(frozen=True, kw_only=True)
class _Errors:
    """Of the levels of years: the variance by ``routes`` and how it correlates over years, and the
    variance ``between`` years."""

    by_route: float
    constant: float
    lag_one: float
    routes: int
    between: float

    def covariance(self, years: IntArray, routes: int) -> FloatArray:
        """By route (T, T), of levels in these years with so many routes."""
        apart = np.abs(years[:, None] - years).astype(np.float64)
        alike: FloatArray = self.constant + (1 - self.constant) * self.lag_one**apart
        return self.by_route * self.routes / routes * alike


def needed_effort(
    trend: YearTrend, *, percent: float = PERCENT, aim: float = AIM
) -> NeededEffort | None:
    """More years, or more routes, until a change is likely to be seen.

    Parameters
    ----------
    trend
        A trend with a line.
    percent
        The change of the share of sites a year, below 0 for a fall.
    aim
        The chance to see it that is asked for, between 0 and 1.

    Returns
    -------
    NeededEffort or None
        None where the trend has no line.

    Examples
    --------
    >>> from surveys.trends.models.year_trend import fit_year_trend
    >>> rng = np.random.default_rng(1)
    >>> stop, year = (axis.ravel() for axis in np.indices((100, 10)))
    >>> heard = (rng.random(1000) < 0.5)[:, None] & (rng.random((1000, 3)) < 0.6)
    >>> need = needed_effort(fit_year_trend(heard, 2015 + year, stop // 5))
    >>> bool(0 < need.chance < 1), need.years >= 0
    (True, True)
    """
    line, levels = trend.line, trend.levels
    if line is None or levels.covariance is None:
        return None
    errors = _errors(levels.covariance, levels.years, levels.routes, line.scatter**2)
    breaks = line.breaks

    def chance(more_years: int, more_routes: int = 0, own: _Errors = errors) -> float:
        last = int(levels.years[-1])
        years = np.r_[levels.years, np.arange(last + 1, last + 1 + more_years)]
        slope = _slope_of(trend, years, percent)
        return _chance(slope, years, breaks, own, levels.routes + more_routes)

    def years_at(scatter: float | None) -> int | None:
        if scatter is None:
            return None
        own = replace(errors, between=scatter**2)
        return _fewest(lambda more: chance(more, own=own), aim, MOST_YEARS)

    return NeededEffort(
        percent=percent,
        aim=aim,
        chance=chance(0),
        years=years_at(line.scatter),
        routes=_fewest(lambda more: chance(0, more), aim, MOST_ROUTES),
        years_low=years_at(line.scatter_low),
        years_high=years_at(line.scatter_high),
    )


def _errors(covariance: FloatArray, years: IntArray, routes: int, between: float) -> _Errors:
    """The correlation by years apart, a constant and one that dies away, by least squares over the
    pairs of years."""
    spread = np.sqrt(np.diag(covariance))
    alike = covariance / np.outer(spread, spread)
    first, second = np.triu_indices(len(years), 1)
    apart = (years[second] - years[first]).astype(np.float64)
    seen = alike[first, second]

    def misfit(form: FloatArray) -> FloatArray:
        off: FloatArray = form[0] + (1 - form[0]) * form[1] ** apart - seen
        return off

    from scipy.optimize import least_squares  # noqa: PLC0415 - see numerics/roots.py

    fitted = least_squares(misfit, [0.1, 0.4], bounds=([0.0, 0.0], [0.95, 0.99])).x
    return _Errors(
        by_route=float(np.mean(np.diag(covariance))),
        constant=float(fitted[0]),
        lag_one=float(fitted[1]),
        routes=routes,
        between=between,
    )


def _chance(
    slope: float, years: IntArray, breaks: tuple[int, ...], errors: _Errors, routes: int
) -> float:
    """Chance that the interval of the slope leaves out zero on its own side."""
    steps = [(years >= first).astype(np.float64) for first in breaks]
    design = np.column_stack([np.ones(len(years)), years - years.mean(), *steps])
    projection = np.linalg.pinv(design)
    residual = np.eye(len(years)) - design @ projection
    along = projection[1]
    by_route = errors.covariance(years, routes)
    of_years = float(np.trace(residual))
    own, each = float(along @ by_route @ along), float(along @ along)
    degrees = matched_degrees(
        from_routes=own,
        from_years=each,
        variance=errors.between,
        mean_square=errors.between + float(np.trace(residual @ by_route)) / of_years,
        of_routes=float(routes - 1),
        of_years=of_years,
        years=len(years),
    )
    distance = abs(slope) / np.sqrt(own + errors.between * each)
    return float(1 - nctdtr(degrees, distance, t_quantile(0.95, degrees)))


def _slope_of(trend: YearTrend, years: IntArray, percent: float) -> float:
    """The slope on the logit scale that changes the share by ``percent`` a year over these years,
    turned about the middle of the line."""
    half = float(years[-1] - years[0]) / 2
    middle = float(np.mean(trend.levels.levels)) + trend.levels.offsets
    ends = np.array([[-half], [half]])

    def lacking(slope: float) -> float:
        first, last = expit(middle + slope * ends).mean(axis=1).tolist()
        return percent_per_step(math.log(last / first) / (2 * half)) - percent

    return root(lacking, -_STEEPEST, _STEEPEST)


def _fewest(chance: Callable[[int], float], aim: float, most: int) -> int | None:
    """The least number with a chance that reaches the aim, by bisection."""
    if chance(0) >= aim:
        return 0
    low, high = 0, 1
    while chance(high) < aim:
        if high == most:
            return None
        low, high = high, min(2 * high, most)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if chance(middle) >= aim else (middle, high)
    return high
