"""Shift of the calling season over years, in days per decade.

The chance that a listening period hears the species is a logistic curve with one hump over the
days of the season. Each season year has its own height, all share the width of the hump, and its
top moves by the same number of days per year. Only listening periods enter, silent ones too, so
listening earlier or more often does not move the top. Standard errors are clustered by route.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit

from surveys.trends import estimates
from surveys.trends.estimates import Estimate, merge_flags, not_estimable
from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray, check_level, codes_of
from surveys.trends.numerics.intervals import t_quantile
from surveys.trends.numerics.optimize import Maximum, Objective, identified, maximize
from surveys.trends.numerics.sandwich import sandwich_covariance

METHOD = "calling-curve"
NAME = "shift of the calling season, days per decade"
FEWEST_SEASONS = 5
FEWEST_CLUSTERS = 10
# The hump must bend downwards by this many standard errors for its top to mean anything.
_CLEAR_HUMP = 3.0
# A clustered variance below this part of the plain one says that nothing varies between routes.
_NO_SPREAD = 1e-6


def shift_of_season(
    days: ArrayLike,
    heard: ArrayLike,
    season_years: ArrayLike,
    routes: ArrayLike,
    *,
    level: float = 0.95,
) -> Estimate:
    """Days per decade by which the calling season moves; positive is later.

    Parameters
    ----------
    days, heard, season_years, routes
        Listening periods, as for ``calling_nights``. Seasons that were all silent or all heard say
        nothing of timing and are left out.
    level
        Confidence level of the interval.

    Returns
    -------
    Estimate
        Days per decade, with an interval clustered by route; without a value, and flagged, where
        calling has no clear peak.

    Raises
    ------
    ValueError
        For arrays of different length.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> year, route, day = (axis.ravel() for axis in np.indices((10, 12, 20)))
    >>> day = 90 + 4 * day
    >>> peak = 125 - 0.5 * year
    >>> heard = rng.random(len(day)) < 0.8 * np.exp(-(((day - peak) / 15) ** 2))
    >>> shift = shift_of_season(day, heard, 2015 + year, route)
    >>> bool(shift.low < -5 < shift.high)
    True
    """
    check_level(level)
    called = np.asarray(heard, dtype=np.float64)
    day = np.asarray(days, dtype=np.float64)
    if day.shape != called.shape or called.ndim != 1:
        raise ValueError(f"days and heard: shapes {day.shape} and {called.shape} differ")
    labels, year = codes_of(season_years, name="season_years", length=len(called))
    route = codes_of(routes, name="routes", length=len(called))[1]
    rows = _informative_rows(called, year)
    seasons = np.unique(year[rows])
    flags: tuple[str, ...] = (estimates.TOO_FEW_DATA,) if len(seasons) < FEWEST_SEASONS else ()
    if len(seasons) < 2:
        flags = (*flags, estimates.NOT_IDENTIFIED)
        return not_estimable(NAME, method=METHOD, flags=flags, level=level)
    compact = np.unique(route[rows], return_inverse=True)[1].astype(np.int64)
    clusters = int(compact.max()) + 1
    if clusters < FEWEST_CLUSTERS:
        flags = (*flags, estimates.FEW_CLUSTERS)
    if clusters < 2:
        return not_estimable(NAME, method=METHOD, flags=flags, level=level)
    spread = max(float(day[rows].std()), 1e-12)
    scaled = (day[rows] - day[rows].mean()) / spread
    cells = _cells(scaled, year[rows], called[rows], compact)
    day_of, year_of = cells.day, labels[cells.year].astype(np.float64)
    design = np.column_stack(
        [
            day_of,
            day_of**2,
            day_of * (year_of - labels[year[rows]].astype(np.float64).mean()),
            (cells.year[:, None] == seasons).astype(np.float64),
        ]
    )
    maximum = maximize(_logistic(design, cells), np.zeros(design.shape[1]))
    flags = merge_flags(flags, () if maximum.converged else (estimates.DID_NOT_CONVERGE,))
    return _shift(design, cells, maximum, 10 * spread, flags, level)


@dataclass(frozen=True, kw_only=True)
class _Cells:
    """Listening periods of one day of one season year: ``day`` and code of the ``year`` (N,), and
    by cluster how many there were and how many heard the species (C, N)."""

    day: FloatArray
    year: IntArray
    listened: FloatArray
    heard: FloatArray


def _cells(day: FloatArray, year: IntArray, called: FloatArray, cluster: IntArray) -> _Cells:
    days, day_code = np.unique(day, return_inverse=True)
    keys, cell = np.unique(year * len(days) + day_code, return_inverse=True)
    shape = (int(cluster.max()) + 1, len(keys))
    at = cluster * len(keys) + cell
    size = shape[0] * shape[1]
    return _Cells(
        day=days[keys % len(days)],
        year=keys // len(days),
        listened=np.bincount(at, minlength=size).reshape(shape).astype(np.float64),
        heard=np.bincount(at, weights=called, minlength=size).reshape(shape).astype(np.float64),
    )


def _informative_rows(called: FloatArray, year: IntArray) -> BoolArray:
    listened = ~np.isnan(called)
    total = np.bincount(year[listened], minlength=year.max(initial=-1) + 1)
    heard = np.bincount(
        year[listened], weights=called[listened], minlength=year.max(initial=-1) + 1
    )
    rows: BoolArray = listened & ((heard > 0) & (heard < total))[year]
    return rows


def _logistic(design: FloatArray, cells: _Cells) -> Objective:
    listened, heard = cells.listened.sum(axis=0), cells.heard.sum(axis=0)

    def value_gradient(theta: FloatArray) -> tuple[float, FloatArray]:
        line = design @ theta
        value = float(heard @ line - listened @ np.logaddexp(0.0, line))
        return value, design.T @ (heard - listened * expit(line))

    def hessian(theta: FloatArray) -> FloatArray:
        chance = expit(design @ theta)
        matrix: FloatArray = -design.T @ ((listened * chance * (1 - chance))[:, None] * design)
        return matrix

    return Objective(value_gradient=value_gradient, hessian=hessian)


def _shift(
    design: FloatArray,
    cells: _Cells,
    maximum: Maximum,
    scale: float,
    flags: tuple[str, ...],
    level: float,
) -> Estimate:
    """The top of b1 x + b2 x^2 + b3 x t lies at -(b1 + b3 t) / (2 b2): it moves by -b3 / (2 b2)."""
    known = identified(maximum)
    if not known[:3].all():
        flags = merge_flags(flags, (estimates.NOT_IDENTIFIED,))
        return not_estimable(NAME, method=METHOD, flags=flags, level=level)
    scores = (cells.heard - cells.listened * expit(design @ maximum.theta)) @ design[:, known]
    information = -maximum.hessian[np.ix_(known, known)]
    covariance = sandwich_covariance(information, scores)[:3, :3]
    _, bend, lean = maximum.theta[:3]
    if not bend < -_CLEAR_HUMP * np.sqrt(max(covariance[1, 1], 0.0)):
        flags = merge_flags(flags, (estimates.NO_CLEAR_SEASON, estimates.NOT_IDENTIFIED))
        return not_estimable(NAME, method=METHOD, flags=flags, level=level)
    value = -lean / (2 * bend) * scale
    gradient = np.array([0.0, lean / (2 * bend**2), -1 / (2 * bend)]) * scale
    variance = float(gradient @ covariance @ gradient)
    # With few routes the sandwich may be flat in this direction, and round to either side of 0.
    independent = float(gradient @ np.linalg.inv(information)[:3, :3] @ gradient)
    if variance <= _NO_SPREAD * independent:
        flags = merge_flags(flags, (estimates.TOO_FEW_DATA,))
        return not_estimable(NAME, method=METHOD, flags=flags, level=level)
    se = variance**0.5
    half = t_quantile(level, len(cells.heard) - 1) * se
    return Estimate(
        name=NAME,
        value=float(value),
        low=float(value - half),
        high=float(value + half),
        interval="delta+clustered-by-route",
        method=METHOD,
        flags=flags,
        se=se,
        level=level,
    )
