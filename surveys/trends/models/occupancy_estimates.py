"""Shares and coefficients of a fitted occupancy model, each with an interval."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import numpy as np
from scipy.special import expit

from surveys.trends import estimates
from surveys.trends.estimates import Estimate, merge_flags, not_estimable
from surveys.trends.models.model_fit import (
    DELTA,
    PROFILE,
    Line,
    profile_line,
    share_limits,
    wald_line,
)
from surveys.trends.models.occupancy import METHOD, OccupancyFit
from surveys.trends.models.occupancy_likelihood import objective, occupied_given_history
from surveys.trends.numerics.arrays import FloatArray, check_level, float_array
from surveys.trends.numerics.intervals import logistic, normal_quantile, t_quantile
from surveys.trends.numerics.optimize import quadratic_form

Interval = Literal["profile", "wald", "clustered"]
Part = Literal["occupancy", "detection"]
INTERVALS: dict[Interval, str] = {
    "profile": PROFILE,
    "wald": "wald-logit",
    "clustered": "clustered-logit",
}
_INTERVAL_FLAGS = (estimates.ONE_SIDED, estimates.WALD_FALLBACK)
_HOPELESS = {estimates.NO_EFFORT, estimates.NEVER_HEARD, estimates.NO_REPEAT_VISITS}


def occupancy_share(
    fit: OccupancyFit, *, level: float = 0.95, interval: Interval = "profile"
) -> Estimate:
    """Share of sites occupied: psi, or its mean over the rows when it has covariates.

    Parameters
    ----------
    fit
        A fitted model.
    level
        Confidence level of the interval.
    interval
        ``"profile"`` for the profile likelihood, ``"wald"``, or ``"clustered"`` for Wald limits by
        t with the sandwich, which needs a fit with at least two clusters.

    Returns
    -------
    Estimate
        A share from 0 to 1.

    Raises
    ------
    ValueError
        For clustered intervals of a fit without clusters.

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends import fit_occupancy
    >>> rng = np.random.default_rng(1)
    >>> occupied = rng.random(200) < 0.6
    >>> heard = occupied[:, None] & (rng.random((200, 3)) < 0.5)
    >>> fit = fit_occupancy(heard)
    >>> share = occupancy_share(fit)
    >>> bool(share.low < 0.6 < share.high), share.interval
    (True, 'profile')
    """
    return _part_share(fit, "occupancy", "occupancy", level, interval)


def detection_share(
    fit: OccupancyFit, *, level: float = 0.95, interval: Interval = "profile"
) -> Estimate:
    """Chance of hearing the species on one visit to an occupied site, or its mean over the visits.

    Parameters
    ----------
    fit
        A fitted model.
    level
        Confidence level of the interval.
    interval
        ``"profile"`` for the profile likelihood, ``"wald"``, or ``"clustered"`` for Wald limits by
        t with the sandwich, which needs a fit with at least two clusters.

    Returns
    -------
    Estimate
        A chance from 0 to 1.

    Raises
    ------
    ValueError
        For clustered intervals of a fit without clusters.

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends import fit_occupancy
    >>> rng = np.random.default_rng(1)
    >>> occupied = rng.random(200) < 0.6
    >>> heard = occupied[:, None] & (rng.random((200, 3)) < 0.5)
    >>> fit = fit_occupancy(heard)
    >>> chance = detection_share(fit)
    >>> bool(chance.low < 0.5 < chance.high)
    True
    """
    return _part_share(fit, "detection", "detection", level, interval)


def share_at(
    fit: OccupancyFit,
    part: Part,
    row: FloatArray,
    *,
    name: str,
    level: float = 0.95,
    interval: Interval = "profile",
) -> Estimate:
    """Occupancy or detection at one design row.

    Parameters
    ----------
    fit
        A fitted model.
    part
        ``"occupancy"`` or ``"detection"``.
    row
        One number for each column of that part's design, in the units of the covariates; 1 for the
        intercept.
    name
        Name of the estimate.
    level
        Confidence level of the interval.
    interval
        ``"profile"`` for the profile likelihood, ``"wald"``, or ``"clustered"`` for Wald limits by
        t with the sandwich, which needs a fit with at least two clusters.

    Returns
    -------
    Estimate
        A share from 0 to 1. At the end of the range it has the one-sided bound that the profile
        likelihood gives.

    Raises
    ------
    ValueError
        For a row of another length, or clustered intervals of a fit without clusters.

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends import fit_occupancy
    >>> rng = np.random.default_rng(1)
    >>> occupied = rng.random(200) < 0.6
    >>> heard = occupied[:, None] & (rng.random((200, 3)) < 0.5)
    >>> fit = fit_occupancy(heard)
    >>> at_intercept = share_at(fit, "occupancy", np.ones(1), name="occupancy")
    >>> at_intercept == occupancy_share(fit)
    True
    """
    check_level(level)
    contrast = _contrast(fit, part, row)
    if fit.maximum is None or _HOPELESS & set(fit.flags):
        return not_estimable(name, method=METHOD, flags=fit.flags, level=level)
    line = _line(fit, contrast, level, interval)
    flags = merge_flags(tuple(f for f in fit.flags if f != estimates.EDGE_OF_RANGE), line.flags)
    edge = estimates.EDGE_OF_RANGE in line.flags
    value = logistic(line.value)
    unknown = estimates.NOT_IDENTIFIED in flags
    unbounded = unknown and estimates.NEVER_HEARD_TWICE not in flags
    return Estimate(
        name=name,
        value=None if unknown else float(round(value)) if edge else value,
        low=None if unbounded else 0.0 if line.low is None else logistic(line.low),
        high=None if unbounded else 1.0 if line.high is None else logistic(line.high),
        interval=line.interval,
        method=METHOD,
        flags=flags,
        se=None if unknown or not np.isfinite(line.se) else value * (1 - value) * line.se,
        level=level,
    )


def coefficient_estimates(
    fit: OccupancyFit, *, level: float = 0.95, interval: Interval = "profile"
) -> tuple[Estimate, ...]:
    """Every coefficient with its interval.

    Parameters
    ----------
    fit
        A fitted model.
    level
        Confidence level of the intervals.
    interval
        ``"profile"`` for the profile likelihood, ``"wald"``, or ``"clustered"`` for Wald limits by
        t with the sandwich, which needs a fit with at least two clusters.

    Returns
    -------
    tuple of Estimate
        On the logit scale and in the units of the covariates, named ``occupancy: …`` or
        ``detection: …``.

    Raises
    ------
    ValueError
        For clustered intervals of a fit without clusters.

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends import fit_occupancy
    >>> rng = np.random.default_rng(1)
    >>> occupied = rng.random(200) < 0.6
    >>> heard = occupied[:, None] & (rng.random((200, 3)) < 0.5)
    >>> fit = fit_occupancy(heard)
    >>> [estimate.name for estimate in coefficient_estimates(fit)]
    ['occupancy: intercept', 'detection: intercept']
    """
    check_level(level)
    names = [f"occupancy: {name}" for name in fit.psi.names]
    names += [f"detection: {name}" for name in fit.p.names]
    return tuple(
        _coefficient(fit, name, contrast, level, interval)
        for name, contrast in zip(names, np.eye(len(names)), strict=True)
    )


def occupied_given_histories(fit: OccupancyFit) -> FloatArray:
    """Chance that each row was occupied, given what was heard there.

    Parameters
    ----------
    fit
        A fitted model.

    Returns
    -------
    array (rows,)
        1 where the species was heard; NaN when nothing could be fitted. Rows are those used in the
        fit.

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends import fit_occupancy
    >>> rng = np.random.default_rng(1)
    >>> occupied = rng.random(200) < 0.6
    >>> heard = occupied[:, None] & (rng.random((200, 3)) < 0.5)
    >>> fit = fit_occupancy(heard)
    >>> chance = occupied_given_histories(fit)
    >>> silent = ~heard.any(axis=1)
    >>> bool(np.allclose(chance[~silent], 1)), bool((chance[silent] < 0.5).all())
    (True, True)
    """
    if fit.maximum is None:
        return np.full(fit.rows, np.nan)
    return occupied_given_history(fit.cells, fit.maximum.theta)[fit.cells.group]


def delta_share(
    fit: OccupancyFit,
    share: Callable[[FloatArray], tuple[float, FloatArray]],
    *,
    name: str,
    level: float,
    interval: Interval,
) -> Estimate:
    """A share that is a smooth function of the coefficients, by the delta method.

    ``share`` returns the value, inside (0, 1), and its gradient (K,). The interval is made on the
    logit scale so that it stays in range.
    """
    if fit.maximum is None or (_HOPELESS | {estimates.NOT_IDENTIFIED}) & set(fit.flags):
        return not_estimable(name, method=METHOD, flags=fit.flags, level=level)
    value, gradient = share(fit.coefficients)
    low, high, se = share_limits(value, gradient, *spread(fit, level, interval))
    edge = () if se is not None else (estimates.EDGE_OF_RANGE,)
    return Estimate(
        name=name,
        value=value,
        low=low,
        high=high,
        interval=f"{DELTA}+clustered-by-site" if interval == "clustered" else DELTA,
        method=METHOD,
        flags=merge_flags(fit.flags, edge),
        se=se,
        level=level,
    )


def spread(fit: OccupancyFit, level: float, interval: Interval) -> tuple[FloatArray, float]:
    """Covariance (K, K) and quantile of a Wald interval; t with clusters - 1 when clustered."""
    if interval != "clustered":
        return fit.covariance, normal_quantile(level)
    if fit.clustered_covariance is None:
        raise ValueError("clustered intervals need a fit with at least two clusters")
    return fit.clustered_covariance, t_quantile(level, fit.clusters - 1)


def _part_share(
    fit: OccupancyFit, part: Part, name: str, level: float, interval: Interval
) -> Estimate:
    design = fit.psi if part == "occupancy" else fit.p
    flat = design.own_units.reshape(-1, len(design.names))
    if part == "detection" and design.matrix.ndim == 3:
        flat = flat[(fit.cells.trials[fit.cells.group] > 0).ravel()]
    if not len(flat) or (flat == flat[0]).all():
        row = flat[0] if len(flat) else np.ones(len(design.names))
        return share_at(fit, part, row, name=name, level=level, interval=interval)
    first = 0 if part == "occupancy" else len(fit.psi.names)

    def mean_share(coefficients: FloatArray) -> tuple[float, FloatArray]:
        shares = expit(flat @ coefficients[first : first + flat.shape[1]])
        gradient = np.zeros(len(coefficients))
        gradient[first : first + flat.shape[1]] = flat.T @ (shares * (1 - shares)) / len(flat)
        return float(shares.mean()), gradient

    return delta_share(fit, mean_share, name=name, level=level, interval=interval)


def _coefficient(
    fit: OccupancyFit, name: str, contrast: FloatArray, level: float, interval: Interval
) -> Estimate:
    if fit.maximum is None or (_HOPELESS | {estimates.NOT_IDENTIFIED}) & set(fit.flags):
        return not_estimable(name, method=METHOD, flags=fit.flags, level=level)
    line = _line(fit, contrast, level, interval)
    edge = not np.isfinite(line.se)
    return Estimate(
        name=name,
        value=None if edge else line.value,
        low=line.low,
        high=line.high,
        interval=line.interval,
        method=METHOD,
        flags=merge_flags(fit.flags, tuple(f for f in line.flags if f in _INTERVAL_FLAGS)),
        se=None if edge else line.se,
        level=level,
    )


def _contrast(fit: OccupancyFit, part: Part, row: FloatArray) -> FloatArray:
    names = fit.psi.names if part == "occupancy" else fit.p.names
    array = float_array(row, name="row", ndim=1)
    if array.shape != (len(names),):
        raise ValueError(f"row: expected {len(names)} numbers ({', '.join(names)})")
    first = 0 if part == "occupancy" else len(fit.psi.names)
    contrast = np.zeros(len(fit.coefficients))
    contrast[first : first + len(names)] = array
    return contrast


def _line(fit: OccupancyFit, contrast: FloatArray, level: float, interval: Interval) -> Line:
    value = float(contrast @ fit.coefficients)
    covariance, quantile = spread(fit, level, interval)
    se = float(np.sqrt(quadratic_form(covariance, contrast)))
    line = wald_line(value, se, quantile, interval=INTERVALS[interval])
    # Without a standard error a Wald interval has no meaning, so the profile is used instead.
    if (interval == "profile" or line.flags) and fit.maximum is not None:
        return profile_line(
            objective(fit.cells), fit.maximum, fit.back.T @ contrast, se=se, level=level
        )
    return line
