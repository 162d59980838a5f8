"""Change of occupancy over seasons: site-seasons stacked in one occupancy model.

Every site and season is a row with its own latent state (MacKenzie et al. 2006, Occupancy
Estimation and Modeling, ch. 7, "implicit dynamics"). Rows of one site are not independent, so
standard errors are clustered (Liang & Zeger 1986, Biometrika 73:13-22).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit

from surveys.trends import estimates
from surveys.trends.estimates import Estimate, merge_flags, not_estimable
from surveys.trends.models.occupancy import OccupancyFit, check_histories, fit_occupancy_designs
from surveys.trends.models.occupancy_estimates import (
    Interval,
    coefficient_estimates,
    delta_share,
    share_at,
    spread,
)
from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray, distinct
from surveys.trends.numerics.design import (
    Design,
    factor_design,
    join,
    site_design,
    visit_design,
    with_levels,
    without_intercept,
)
from surveys.trends.numerics.intervals import percent_per_step, transform
from surveys.trends.numerics.optimize import quadratic_form
from surveys.trends.printing import PrintedRow, PrintsAsTable, estimate_rows

Smooth = Callable[[FloatArray], tuple[float, FloatArray]]
Form = Literal["linear", "factor"]
METHOD = "stacked-occupancy"
YEAR = "year"
# Common practice, no source: less than this gives no usable trend.
FEWEST_YEARS = 5
FEWEST_DETECTED = 10


@dataclass(frozen=True, kw_only=True, repr=False)
class TrendFit(PrintsAsTable):
    """A fitted trend. ``center`` is the season year at which the intercept stands.

    ``year_column`` is the place of the slope among the coefficients, None for a factor year.
    ``fitted_share`` is the share of the rows listened to that were fitted; all others are empty.
    """

    fit: OccupancyFit
    form: Form
    years: IntArray
    center: float
    year_column: int | None
    fitted_share: float = 1.0

    def printed_title(self) -> str:
        return f"{METHOD}, {self.fit.rows} site-seasons"

    def printed_rows(self) -> Sequence[PrintedRow]:
        return self.fit.printed_rows()

    def printed_flags(self) -> tuple[str, ...]:
        return self.fit.flags


@dataclass(frozen=True, kw_only=True, repr=False)
class TrendSummary(PrintsAsTable):
    """One trend on each scale; the scales are not interchangeable.

    ``log_odds`` per year; ``odds`` in percent change of the odds per year; ``occupancy`` in
    percent change of the share of sites per year, between the fitted first and last year;
    ``points`` in percentage points of the share per year.
    """

    log_odds: Estimate
    odds: Estimate
    occupancy: Estimate
    points: Estimate

    def printed_title(self) -> str:
        return self.log_odds.method

    def printed_rows(self) -> Sequence[PrintedRow]:
        return estimate_rows((self.log_odds, self.odds, self.occupancy, self.points))


def fit_trend(
    detections: ArrayLike,
    season_years: ArrayLike,
    clusters: ArrayLike,
    *,
    form: Form = "linear",
    occupancy: Mapping[str, ArrayLike] | None = None,
    detection: Mapping[str, ArrayLike] | None = None,
    detection_by_year: bool = False,
    empty: ArrayLike | None = None,
    like: TrendFit | None = None,
) -> TrendFit:
    """Fit occupancy over season years, on the logit scale.

    Parameters
    ----------
    detections
        (rows, visits) of 1 heard, 0 not heard and NaN for a visit that did not happen; one row a
        site and season year.
    season_years
        (rows,) whole numbers.
    clusters
        (rows,) labels of rows that are not independent: sites, or routes where the stops of a route
        are alike.
    form
        ``"linear"`` for a slope; with ``"factor"`` every season year has its own occupancy.
    occupancy, detection
        Covariates by name, as for ``fit_occupancy``.
    detection_by_year
        Whether every season year has its own level of detection: frogs that became harder to hear
        otherwise look like a decline.
    empty
        (rows,) marks of kinds of sites at which the species was never heard. The best occupancy
        there is 0, so they are not fitted, and count in every share of sites.
    like
        A trend of the same data with other covariates: the search of a large program begins at its
        coefficients, which saves time and changes nothing else.

    Returns
    -------
    TrendFit
        With flags where the data cannot carry the trend.

    Raises
    ------
    ValueError
        For arrays that do not fit each other, another form, or an empty row with a detection.

    References
    ----------
    MacKenzie et al. 2006, Occupancy Estimation and Modeling, ch. 7; standard errors by Liang &
    Zeger 1986, Biometrika 73:13-22.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(5)
    >>> site, year = (axis.ravel() for axis in np.indices((100, 8)))
    >>> occupied = rng.random(800) < 0.7 - 0.04 * year
    >>> heard = occupied[:, None] & (rng.random((800, 3)) < 0.5)
    >>> trend = fit_trend(heard, 2017 + year, site // 5)
    >>> trend.years.tolist(), trend.form
    ([2017, 2018, 2019, 2020, 2021, 2022, 2023, 2024], 'linear')
    """
    history = check_histories(detections)
    rows, visits = history.shape
    year = np.asarray(season_years)
    if year.shape != (rows,) or not np.issubdtype(year.dtype, np.integer):
        raise ValueError(f"season_years: expected {rows} whole years, one a row")
    if form not in ("linear", "factor"):
        raise ValueError(f"form: expected 'linear' or 'factor', got {form!r}")
    cluster = np.asarray(clusters)
    if cluster.shape != (rows,):
        raise ValueError(f"clusters: expected {rows} labels, got shape {cluster.shape}")
    fitted = ~_empty_rows(history, empty)
    listened = ~np.isnan(history).all(axis=1)
    years = distinct(year[fitted & listened]).astype(np.int64)
    center = float(years.min() + years.max()) / 2 if len(years) else 0.0
    psi = site_design(rows, occupancy)
    if form == "linear":
        slope = Design(names=(YEAR,), matrix=(year - center).astype(np.float64)[:, None])
        psi = join(psi, slope)
    else:
        by_year = factor_design(year, levels=years, prefix=f"{YEAR} ")
        psi = join(by_year, without_intercept(psi))
    p = visit_design(rows, visits, detection)
    if detection_by_year and len(years):
        p = with_levels(year, levels=years, prefix=f"{YEAR} ", design=p)
    fit = fit_occupancy_designs(
        history[fitted],
        psi=psi.select(fitted),
        p=p.select(fitted),
        clusters=cluster[fitted],
        like=None if like is None else like.fit,
    )
    return TrendFit(
        fit=replace(fit, flags=merge_flags(fit.flags, _size_flags(fit, years))),
        form=form,
        years=years,
        center=center,
        year_column=psi.names.index(YEAR) if form == "linear" else None,
        fitted_share=float((fitted & listened).sum() / listened.sum()) if listened.any() else 1.0,
    )


def _empty_rows(history: FloatArray, empty: ArrayLike | None) -> BoolArray:
    """Rows (rows,) whose occupancy is 0 by assumption; ValueError where one of them was heard."""
    marked: BoolArray = np.zeros(len(history), dtype=np.bool_)
    if empty is not None:
        marked = np.asarray(empty, dtype=np.bool_)
    if marked.shape != (len(history),) or np.nansum(history[marked]) > 0:
        raise ValueError("empty: expected one mark a row, none where the species was heard")
    return marked


def summarize_trend(
    trend: TrendFit, *, level: float = 0.95, interval: Interval = "clustered"
) -> TrendSummary:
    """The slope of a linear trend on every scale.

    Parameters
    ----------
    trend
        A fitted trend with ``form="linear"``.
    level
        Confidence level of the intervals.
    interval
        ``"clustered"``, ``"wald"``, or ``"profile"`` for the slope and its odds. A fit with one
        cluster has Wald limits instead of clustered ones, and is flagged.

    Returns
    -------
    TrendSummary
        Log odds, percent of the odds, percent of the share of sites, and percentage points, all per
        year.

    Raises
    ------
    ValueError
        For a trend with ``form="factor"``, which has no slope.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(5)
    >>> site, year = (axis.ravel() for axis in np.indices((100, 8)))
    >>> occupied = rng.random(800) < 0.7 - 0.04 * year
    >>> heard = occupied[:, None] & (rng.random((800, 3)) < 0.5)
    >>> trend = fit_trend(heard, 2017 + year, site // 5)
    >>> points = summarize_trend(trend).points
    >>> bool(points.low < -4 < points.high)
    True
    """
    if trend.year_column is None:
        raise ValueError("a factor year has no slope; fit form='linear'")
    interval, flags = usable_interval(trend, interval)
    slope = coefficient_estimates(trend.fit, level=level, interval=interval)[trend.year_column]
    slope = _labeled(slope, "trend, log odds of occupancy per year", flags)
    ratio = _derived(trend, _log_ratio_per_year(trend), level, interval, flags)
    points = _derived(trend, _points_per_year(trend), level, interval, flags)
    return TrendSummary(
        log_odds=slope,
        odds=odds_per_year(slope),
        occupancy=transform(
            ratio, percent_per_step, name="trend, % change in share of sites per year"
        ),
        points=replace(points, name="trend, percentage points of sites per year"),
    )


def odds_per_year(log_odds: Estimate) -> Estimate:
    """Percent change of the odds per year, from the slope on the logit scale."""
    return transform(log_odds, percent_per_step, name="trend, % change in odds per year")


def yearly_occupancy(
    trend: TrendFit, *, level: float = 0.95, interval: Interval = "clustered"
) -> tuple[tuple[int, Estimate], ...]:
    """ModelFit occupancy of each season year, the mean over the covariates of all rows.

    Parameters
    ----------
    trend
        A fitted trend.
    level
        Confidence level of the intervals.
    interval
        ``"clustered"``, ``"wald"`` or ``"profile"``; see ``summarize_trend``.

    Returns
    -------
    tuple of (season year, Estimate)
        Shares of sites from 0 to 1, by season year.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(5)
    >>> site, year = (axis.ravel() for axis in np.indices((100, 8)))
    >>> occupied = rng.random(800) < 0.7 - 0.04 * year
    >>> heard = occupied[:, None] & (rng.random((800, 3)) < 0.5)
    >>> trend = fit_trend(heard, 2017 + year, site // 5)
    >>> shares = dict(yearly_occupancy(trend))
    >>> bool(shares[2017].low < 0.7 < shares[2017].high)
    True
    """
    interval, flags = usable_interval(trend, interval)
    shares = []
    for year in trend.years.tolist():
        rows = _rows_in_year(trend, year)
        name = f"occupancy {year}"
        if len(rows) == 1 and trend.fitted_share == 1:
            share = share_at(
                trend.fit, "occupancy", rows[0], name=name, level=level, interval=interval
            )
        else:
            share = delta_share(
                trend.fit, _mean_share(trend, rows), name=name, level=level, interval=interval
            )
        shares.append((year, _labeled(share, name, flags)))
    return tuple(shares)


def _size_flags(fit: OccupancyFit, years: IntArray) -> tuple[str, ...]:
    detected = round((fit.naive.value or 0.0) * fit.rows)
    few = len(years) < FEWEST_YEARS or detected < FEWEST_DETECTED
    return (estimates.TOO_FEW_DATA,) if few else ()


def usable_interval(trend: TrendFit, interval: Interval) -> tuple[Interval, tuple[str, ...]]:
    """The interval asked for, or Wald with a flag where one cluster allows no sandwich."""
    if interval == "clustered" and trend.fit.clustered_covariance is None:
        return "wald", (estimates.FEW_CLUSTERS,)
    return interval, ()


def _labeled(estimate: Estimate, name: str, flags: tuple[str, ...]) -> Estimate:
    return replace(estimate, name=name, method=METHOD, flags=merge_flags(estimate.flags, flags))


def _rows_in_year(trend: TrendFit, year: int) -> FloatArray:
    """Design rows of occupancy with the year set, one for each distinct row of covariates."""
    matrix = trend.fit.psi.matrix.copy()
    if trend.year_column is not None:
        matrix[:, trend.year_column] = year - trend.center
    else:
        named = [name == f"{YEAR} {year}" for name in trend.fit.psi.names]
        years = [name.startswith(f"{YEAR} ") for name in trend.fit.psi.names]
        matrix[:, years] = 0.0
        matrix[:, named] = 1.0
    if not len(matrix):
        return np.zeros((1, matrix.shape[1]))
    return matrix[:1] if (matrix == matrix[:1]).all() else matrix


def _mean_share(trend: TrendFit, rows: FloatArray) -> Smooth:
    """Mean occupancy over design rows and the empty sites beside them, as a function of the
    coefficients, with its gradient."""

    def share(coefficients: FloatArray) -> tuple[float, FloatArray]:
        shares = expit(rows @ coefficients[: rows.shape[1]])
        gradient = np.zeros(len(coefficients))
        gradient[: rows.shape[1]] = (
            rows.T @ (shares * (1 - shares)) / len(rows) * trend.fitted_share
        )
        return float(shares.mean()) * trend.fitted_share, gradient

    return share


def _ends(trend: TrendFit) -> tuple[Smooth, Smooth, int]:
    first, last = int(trend.years.min()), int(trend.years.max())
    at_first = _mean_share(trend, _rows_in_year(trend, first))
    return at_first, _mean_share(trend, _rows_in_year(trend, last)), last - first


def _log_ratio_per_year(trend: TrendFit) -> Smooth:
    def change(coefficients: FloatArray) -> tuple[float, FloatArray]:
        at_first, at_last, span = _ends(trend)
        (start, start_slope), (end, end_slope) = at_first(coefficients), at_last(coefficients)
        gradient = (end_slope / end - start_slope / start) / span
        return float(np.log(end / start)) / span, gradient

    return change


def _points_per_year(trend: TrendFit) -> Smooth:
    def change(coefficients: FloatArray) -> tuple[float, FloatArray]:
        at_first, at_last, span = _ends(trend)
        (start, start_slope), (end, end_slope) = at_first(coefficients), at_last(coefficients)
        return 100 * (end - start) / span, 100 * (end_slope - start_slope) / span

    return change


def _derived(
    trend: TrendFit, change: Smooth, level: float, interval: Interval, flags: tuple[str, ...]
) -> Estimate:
    fit = trend.fit
    flags = merge_flags(fit.flags, flags)
    if fit.maximum is None or estimates.NOT_IDENTIFIED in flags or len(trend.years) < 2:
        return not_estimable("", method=METHOD, flags=flags, level=level)
    value, gradient = change(fit.coefficients)
    covariance, quantile = spread(fit, level, interval)
    se = float(np.sqrt(quadratic_form(covariance, gradient)))
    if not (np.isfinite(value) and np.isfinite(se)):
        flags = merge_flags(flags, (estimates.EDGE_OF_RANGE,))
        return not_estimable("", method=METHOD, flags=flags, level=level)
    return Estimate(
        name="",
        value=value,
        low=value - quantile * se,
        high=value + quantile * se,
        interval="delta+clustered-by-site" if interval == "clustered" else "delta",
        method=METHOD,
        flags=flags,
        se=se,
        level=level,
    )
