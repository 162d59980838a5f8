"""Where the search for yearly levels begins, after a straight line over the years."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from surveys.trends.estimates import DID_NOT_CONVERGE
from surveys.trends.models.trend import YEAR, TrendFit
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.numerics.design import INTERCEPT, Design, moments


def likely_levels(trend: TrendFit) -> Mapping[str, float]:
    """What the coefficients of ``fit_year_levels`` are likely to be, by name.

    Parameters
    ----------
    trend
        A line over the years of the same data with the same covariates.

    Returns
    -------
    mapping
        Empty where the line did not settle, or the years have no line.

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends.models.trend import fit_trend
    >>> rng = np.random.default_rng(5)
    >>> site, year = (axis.ravel() for axis in np.indices((100, 8)))
    >>> occupied = rng.random(800) < 0.7 - 0.04 * year
    >>> heard = occupied[:, None] & (rng.random((800, 3)) < 0.5)
    >>> likely = likely_levels(fit_trend(heard, 2017 + year, site // 5))
    >>> likely["occupancy: year 2017"] > likely["occupancy: year 2024"]
    True
    """
    fit = trend.fit
    if fit.maximum is None or trend.year_column is None or DID_NOT_CONVERGE in fit.flags:
        return {}
    sites = len(fit.psi.names)
    of_psi, of_p = fit.coefficients[:sites], fit.coefficients[sites:]
    level, likely = _at_means(fit.psi, of_psi, "occupancy")
    slope = float(of_psi[trend.year_column])
    middle = float(fit.psi.matrix[:, trend.year_column].mean()) + trend.center
    likely |= {f"occupancy: {YEAR} {y}": level + slope * (y - middle) for y in trend.years.tolist()}
    level, of_visits = _at_means(fit.p, of_p, "detection")
    own = fit.p.names[: fit.p.levels]
    levels = {name: level + float(of_p[k]) for k, name in enumerate(own)} or {INTERCEPT: level}
    return likely | of_visits | {f"detection: {name}": value for name, value in levels.items()}


def _at_means(design: Design, of_design: FloatArray, part: str) -> tuple[float, dict[str, float]]:
    """The predictor at the mean of all columns, and the coefficients of covariates of unit scale;
    levels of a factor count as zero."""
    columns = of_design[design.levels :]
    if design.units is None:
        mean, spread = moments(design.matrix)
    else:
        mean, spread = design.units
        mean = np.where(np.array(design.names[design.levels :]) == INTERCEPT, 1.0, mean)
    by_name = {
        f"{part}: {name}": float(value)
        for name, value in zip(design.names[design.levels :], columns * spread, strict=True)
        if name not in (INTERCEPT, YEAR)
    }
    return float(columns @ mean), by_name
