"""Intervals for a binomial share, and transforms of an estimate with its limits."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv, ndtri, stdtrit

from surveys.trends.estimates import (
    FEW_CLUSTERS,
    NO_EFFORT,
    TOO_FEW_DATA,
    Estimate,
    not_estimable,
)
from surveys.trends.numerics.arrays import FloatArray, check_level, codes_of

WILSON = "wilson"
WILSON_BY_ROUTE = "wilson-by-route"
CLOPPER_PEARSON = "clopper-pearson"
_METHOD = "share-of-trials"


def wilson(successes: int, trials: int, *, level: float = 0.95, name: str = "share") -> Estimate:
    """Share of successes with the Wilson score interval, whose limits never leave 0 to 1.

    Parameters
    ----------
    successes, trials
        Counts; ``successes`` is at most ``trials``.
    level
        Confidence level of the interval, between 0 and 1.
    name
        Name of the estimate.

    Returns
    -------
    Estimate
        A share from 0 to 1; without a value, and flagged, when there are no trials.

    Raises
    ------
    ValueError
        For counts that cannot be, or a level outside 0 to 1.

    References
    ----------
    Method 3 of Newcombe 1998, Statistics in Medicine 17:857–872.

    Examples
    --------
    >>> share = wilson(81, 263)
    >>> round(share.value, 3), round(share.low, 4), round(share.high, 4)
    (0.308, 0.2553, 0.3662)
    """
    check_counts(successes, trials)
    check_level(level)
    if trials == 0:
        return not_estimable(name, method=_METHOD, flags=(NO_EFFORT, TOO_FEW_DATA), level=level)
    z = normal_quantile(level)
    share = successes / trials
    low, high = _wilson_limits(share, trials, z)
    return Estimate(
        name=name, value=share, low=low, high=high, interval=WILSON, method=_METHOD, level=level
    )


def wilson_clustered(
    successes: ArrayLike,
    trials: ArrayLike,
    clusters: ArrayLike,
    *,
    level: float = 0.95,
    name: str = "share",
) -> Estimate:
    """Share of successes where those of a cluster are alike: the Wilson interval for the number of
    independent trials that would know the share as well.

    Parameters
    ----------
    successes, trials
        (n,) counts of each row.
    clusters
        (n,) what each row belongs to, such as a route.
    level
        Confidence level of the interval, between 0 and 1.
    name
        Name of the estimate.

    Returns
    -------
    Estimate
        Of one cluster alone the plain Wilson interval, flagged. Where every trial has the same end,
        each cluster counts as one trial.

    Raises
    ------
    ValueError
        For counts that cannot be, or a level outside 0 to 1.

    References
    ----------
    Variance of a ratio over clusters, effective sample size and its degrees of freedom: Korn &
    Graubard 1998, Survey Methodology 24:193–201; with the Wilson interval: Dean & Pagano 2015,
    Journal of Survey Statistics and Methodology 3:484–503.

    Examples
    --------
    >>> share = wilson_clustered([5, 1, 0, 4], [5, 5, 5, 5], ["a", "b", "c", "d"])
    >>> round(share.value, 2), round(share.low, 2), round(share.high, 2)
    (0.5, 0.08, 0.92)
    """
    x, n = np.asarray(successes, dtype=np.float64), np.asarray(trials, dtype=np.float64)
    if x.shape != n.shape or np.any(x < 0) or np.any(x > n):
        raise ValueError("successes: expected counts from 0 to those of trials")
    labels, code = codes_of(clusters, name="clusters", length=len(n))
    won, tried = int(x.sum()), int(n.sum())
    plain = wilson(won, tried, level=level, name=name)
    counted = np.unique(code[n > 0])
    if plain.value is None or len(counted) < 2:
        few = () if plain.value is None else (FEW_CLUSTERS,)
        return replace(plain, flags=(*plain.flags, *few))
    of_clusters = [
        np.bincount(code, weights=counts, minlength=len(labels))[counted].astype(np.float64)
        for counts in (x, n)
    ]
    effective = _independent_trials(*of_clusters)
    z, t = normal_quantile(level), t_quantile(level, len(counted) - 1)
    adjusted = min(effective, tried) * (z / t) ** 2
    low, high = _wilson_limits(plain.value, adjusted, z)
    return replace(plain, low=low, high=high, interval=WILSON_BY_ROUTE)


def _independent_trials(successes: FloatArray, trials: FloatArray) -> float:
    """As many independent trials as know the share as well as those of the clusters."""
    clusters, tried = len(trials), float(trials.sum())
    share = float(successes.sum()) / tried
    if share in (0.0, 1.0):
        return float(clusters)
    scores = successes - share * trials
    variance = clusters / (clusters - 1) * float(scores @ scores) / tried**2
    return share * (1 - share) / variance if variance else tried


def _wilson_limits(share: float, trials: float, z: float) -> tuple[float, float]:
    center = (share + z * z / (2 * trials)) / (1 + z * z / trials)
    half = (
        z
        * math.sqrt(share * (1 - share) / trials + z * z / (4 * trials * trials))
        / (1 + z * z / trials)
    )
    # Rounding must not turn an exact 0 or 1 into a limit just inside the range.
    return (0.0 if share == 0 else center - half), (1.0 if share == 1 else center + half)


def clopper_pearson(
    successes: int, trials: int, *, level: float = 0.95, name: str = "share"
) -> Estimate:
    """Share of successes with the exact Clopper-Pearson interval, from beta quantiles.

    Parameters
    ----------
    successes, trials
        Counts; ``successes`` is at most ``trials``.
    level
        Confidence level of the interval, between 0 and 1.
    name
        Name of the estimate.

    Returns
    -------
    Estimate
        A share from 0 to 1; without a value, and flagged, when there are no trials.

    Raises
    ------
    ValueError
        For counts that cannot be, or a level outside 0 to 1.

    References
    ----------
    Method 5 of Newcombe 1998, Statistics in Medicine 17:857–872.

    Examples
    --------
    >>> share = clopper_pearson(81, 263)
    >>> round(share.low, 4), round(share.high, 4)
    (0.2527, 0.3676)
    """
    check_counts(successes, trials)
    check_level(level)
    if trials == 0:
        return not_estimable(name, method=_METHOD, flags=(NO_EFFORT, TOO_FEW_DATA), level=level)
    tail = (1 - level) / 2
    failures = trials - successes
    low = 0.0 if successes == 0 else float(betaincinv(successes, failures + 1, tail))
    high = 1.0 if failures == 0 else float(betaincinv(successes + 1, failures, 1 - tail))
    return Estimate(
        name=name,
        value=successes / trials,
        low=low,
        high=high,
        interval=CLOPPER_PEARSON,
        method=_METHOD,
        level=level,
    )


def normal_quantile(level: float) -> float:
    """Two-sided standard normal quantile: 1.96 for a level of 0.95."""
    return float(ndtri(0.5 + level / 2))


def t_quantile(level: float, degrees: float) -> float:
    """Two-sided quantile of Student's t: 2.776 for a level of 0.95 and 4 degrees of freedom. NaN
    without degrees of freedom."""
    return float(stdtrit(degrees, 0.5 + level / 2))


def transform(estimate: Estimate, function: Callable[[float], float], *, name: str) -> Estimate:
    """Carry value and limits through a monotone function; the order of the limits is kept right.

    A standard error does not survive a curved transform and is dropped.
    """

    def through(number: float | None) -> float | None:
        return None if number is None else function(number)

    low, high = through(estimate.low), through(estimate.high)
    if low is not None and high is not None and low > high:
        low, high = high, low
    return replace(estimate, name=name, value=through(estimate.value), low=low, high=high, se=None)


def percent_per_step(log_slope: float) -> float:
    """Percent change for each step from a slope on a log or log-odds scale: 100(exp(b) - 1)."""
    return 100.0 * math.expm1(log_slope)


def logistic(x: float) -> float:
    """Inverse logit, without overflow."""
    if x >= 0:
        return 1.0 / (1.0 + math.exp(-x))
    e = math.exp(x)
    return e / (1.0 + e)


def check_counts(successes: int, trials: int) -> None:
    """Raise ValueError unless 0 <= successes <= trials."""
    if trials < 0 or not 0 <= successes <= trials:
        raise ValueError(
            f"expected 0 <= successes <= trials, got {successes} successes in {trials} trials"
        )
