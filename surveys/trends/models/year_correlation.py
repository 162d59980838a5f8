"""The line through yearly levels where good years may follow good years.

How strongly years are correlated cannot be estimated from ten or twenty of them. So every
correlation of a grid counts by a prior that holds weak ones likelier, times how well it explains
the levels (restricted likelihood: Patterson & Thompson 1971, Biometrika 58:545-554), and the
interval is that of the mixture (model averaging: Hoeting et al. 1999, Statistical Science
14:382-417). Prior and weights were chosen by simulation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.special import stdtr, stdtrit

from surveys.trends.models.year_levels import YearLevels
from surveys.trends.models.year_slope import (
    Line,
    YearSlope,
    line_design,
    matched_degrees,
    slope_over_years,
)
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.numerics.roots import root

CORRELATIONS = np.arange(10) / 10
# Log density of the Beta(1, 3) distribution at each of them.
_LOG_PRIORS = np.log(3.0) + 2 * np.log1p(-CORRELATIONS)
# Standard deviations of years, logit scale, among which the likelihood is searched.
_SCATTERS = np.r_[0.0, np.geomspace(0.02, 5.0, 60)]


def slope_with_correlated_years(
    levels: YearLevels, *, breaks: Sequence[int] = (), confidence: float = 0.95
) -> YearSlope | None:
    """The line of ``slope_over_years`` with an interval that lets years be correlated.

    Parameters
    ----------
    levels, breaks, confidence
        As ``slope_over_years`` takes them.

    Returns
    -------
    YearSlope or None
        The same slope with wider limits; None where there is no line.

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends.models.year_levels import YearLevels
    >>> years = np.arange(2011, 2026)
    >>> levels = YearLevels(
    ...     years=years, levels=np.sin(years / 2.0), covariance=np.eye(15) * 0.01,
    ...     information=np.full(15, 100.0), offsets=np.zeros(1), part=1.0, routes=20,
    ...     routes_heard=20, sites_heard=500, seasons_heard=500,
    ...     within_routes=False, flags=())
    >>> apart, together = slope_over_years(levels), slope_with_correlated_years(levels)
    >>> bool(np.ptp(together.limits) > 1.5 * np.ptp(apart.limits))
    True
    """
    line = slope_over_years(levels, breaks=breaks, confidence=confidence)
    design = line_design(levels, breaks)
    if line is None or design is None or levels.covariance is None:
        return None
    apart = np.abs(levels.years[:, None] - levels.years[None, :])
    weights, spreads, degrees = [], [], []
    for rho, prior in zip(CORRELATIONS.tolist(), _LOG_PRIORS.tolist(), strict=True):
        together = np.asarray(rho**apart, dtype=np.float64)
        fit = restricted_log_likelihood(design, levels, together)
        variance, freedom = _slope_variance(line.fitted, levels, together)
        weights.append(fit + prior)
        spreads.append(np.sqrt(variance))
        degrees.append(freedom)
    weight = np.exp(np.array(weights) - max(weights))
    weight /= weight.sum()
    spread, freedoms = np.array(spreads), np.array(degrees)

    def beyond(half: float) -> float:
        inside = stdtr(freedoms, half / spread)
        return float(weight @ inside) - (0.5 + confidence / 2)

    widest = float(stdtrit(freedoms, 0.5 + confidence / 2).max() * spread.max())
    half = root(beyond, 0.0, widest * (1 + 1e-9))
    return replace(line, mixed_limits=(line.slope - half, line.slope + half))


def restricted_log_likelihood(
    design: FloatArray, levels: YearLevels, together: FloatArray
) -> float:
    """The best restricted log likelihood over the scatter of years, at one correlation.

    ``together`` (T, T) holds the correlations of years. The covariance by route is noisy, so it is
    drawn half the way to that of the model.
    """
    by_route = levels.covariance
    if by_route is None:
        raise ValueError("levels without a covariance have no likelihood")
    if levels.model_covariance is not None:
        by_route = (by_route + levels.model_covariance) / 2
    total = by_route + _SCATTERS[:, None, None] ** 2 * together
    inverse = np.linalg.inv(total)
    weighted = inverse @ design
    cross = design.T @ weighted
    residual = (
        levels.levels
        - (design @ np.linalg.solve(cross, (weighted.swapaxes(1, 2) @ levels.levels)[..., None]))[
            ..., 0
        ]
    )
    squares = np.einsum("st,stu,su->s", residual, inverse, residual)
    log_det = np.linalg.slogdet(total)[1] + np.linalg.slogdet(cross)[1]
    return float((-0.5 * (log_det + squares)).max())


def _slope_variance(line: Line, levels: YearLevels, together: FloatArray) -> tuple[float, float]:
    """Variance of the slope and its degrees of freedom where years are so correlated."""
    by_route = np.asarray(levels.covariance, dtype=np.float64)
    slope, form = line.projection[1], line.form @ together
    size = float(np.trace(form))
    variance = max(0.0, (line.rss - float(np.trace(line.form @ by_route))) / size)
    from_routes = float(slope @ by_route @ slope)
    from_years = float(slope @ together @ slope)
    degrees = matched_degrees(
        from_routes=from_routes,
        from_years=from_years,
        variance=variance,
        mean_square=line.rss / size,
        of_routes=float(levels.routes - 1),
        of_years=size**2 / float(np.trace(form @ form)),
        years=len(levels.years),
    )
    return from_routes + variance * from_years, degrees
