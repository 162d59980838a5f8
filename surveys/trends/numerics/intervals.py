"""Intervals for a binomial share, and transforms of an estimate with its limits."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from scipy.special import betaincinv, ndtri

from surveys.trends.estimates import NO_EFFORT, TOO_FEW_DATA, Estimate, not_estimable
from surveys.trends.numerics.arrays import check_level

WILSON = "Wilson"
CLOPPER_PEARSON = "Clopper-Pearson"
_METHOD = "share of trials (Newcombe 1998, Statistics in Medicine 17:857–872)"


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
    center = (share + z * z / (2 * trials)) / (1 + z * z / trials)
    half = (
        z
        * math.sqrt(share * (1 - share) / trials + z * z / (4 * trials * trials))
        / (1 + z * z / trials)
    )
    # Rounding must not turn an exact 0 or 1 into a limit just inside the range.
    low = 0.0 if successes == 0 else center - half
    high = 1.0 if successes == trials else center + half
    return Estimate(
        name=name, value=share, low=low, high=high, interval=WILSON, method=_METHOD, level=level
    )


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
