"""Abundance-induced detection (Royle & Nichols 2003, Ecology 84:777-790).

Where a site with more animals is heard more surely, sites differ in detection, and the plain
occupancy model is too low. The number of animals is only known through that difference, so the
estimate is checked against the bound of the sum over N.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import logit

from surveys.trends import estimates
from surveys.trends.estimates import Estimate, merge_flags
from surveys.trends.models.abundance_likelihood import value_gradient
from surveys.trends.models.model_fit import (
    HoldsModelFit,
    ModelFit,
    derived_share,
    fit_model,
    line_estimate,
    unfitted,
)
from surveys.trends.models.occupancy import check_histories, history_flags
from surveys.trends.models.occupancy_likelihood import OccupancyCells, occupancy_cells
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.numerics.design import (
    Design,
    all_standardized,
    at_mean_covariates,
    coefficient_names,
    drop_incomplete,
    site_design,
    visit_design,
)
from surveys.trends.numerics.optimize import Objective, maximize, numeric_hessian

METHOD = "abundance-induced-detection"
# Relative change of the mean when the bound is doubled, above which the bound makes the estimate.
_TRUNCATION_TOLERANCE = 0.01


@dataclass(frozen=True, kw_only=True, repr=False)
class AbundanceFit(HoldsModelFit):
    """A fitted Royle-Nichols model; ``bound`` is the largest number of animals summed over."""

    fitted: ModelFit
    abundance: Design
    detection: Design
    bound: int


def fit_abundance(
    detections: ArrayLike,
    *,
    abundance: Mapping[str, ArrayLike] | None = None,
    detection: Mapping[str, ArrayLike] | None = None,
    bound: int = 60,
) -> AbundanceFit:
    """Fit mean abundance and the chance of hearing one animal, by maximum likelihood.

    Parameters
    ----------
    detections
        (rows, visits) of 1 heard, 0 not heard and NaN for a visit that did not happen.
    abundance
        Covariates of abundance by name, (rows,), on the log scale.
    detection
        Covariates of detection by name, (rows,) or (rows, visits), on the logit scale.
    bound
        Largest number of animals at a site that is summed over.

    Returns
    -------
    AbundanceFit
        Flagged as not identified when the estimate moves as the bound is doubled, and with flags in
        place of numbers where the data carry none.

    Raises
    ------
    ValueError
        For arrays of the wrong shape, values other than 0, 1 and NaN, or a bound below 1.

    References
    ----------
    Royle & Nichols 2003, Ecology 84:777-790.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> animals = rng.poisson(1.5, 300)
    >>> heard = rng.random((300, 4)) < 1 - 0.6 ** animals[:, None]
    >>> fit = fit_abundance(heard, bound=30)
    >>> mean = mean_abundance(fit)
    >>> bool(mean.low < 1.5 < mean.high)
    True
    """
    if bound < 1:
        raise ValueError(f"bound: expected at least 1 animal, got {bound}")
    history = check_histories(detections)
    rows, visits = history.shape
    by_row, by_visit = site_design(rows, abundance), visit_design(rows, visits, detection)
    history, kept, incomplete = drop_incomplete(history, by_row, by_visit)
    by_row = by_row.select(kept)
    by_visit = by_visit.select(kept)
    names = coefficient_names({"abundance": by_row, "detection": by_visit})
    flags: tuple[str, ...] = (estimates.COVARIATE_MISSING,) if incomplete else ()
    flags = merge_flags(flags, history_flags(history))
    if {estimates.NO_EFFORT, estimates.NEVER_HEARD, estimates.NO_REPEAT_VISITS} & set(flags):
        fitted = unfitted(method=METHOD, names=names, rows=len(history), flags=flags)
    else:
        fitted = _fit(history, by_row, by_visit, names, flags, bound)
    return AbundanceFit(fitted=fitted, abundance=by_row, detection=by_visit, bound=bound)


def mean_abundance(fit: AbundanceFit, *, level: float = 0.95) -> Estimate:
    """Mean number of animals at a site, at the mean of the covariates.

    Parameters
    ----------
    fit
        A fitted model.
    level
        Confidence level of the interval.

    Returns
    -------
    Estimate
        Animals a site, with a profile-likelihood interval.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> animals = rng.poisson(1.5, 300)
    >>> heard = rng.random((300, 4)) < 1 - 0.6 ** animals[:, None]
    >>> fit = fit_abundance(heard, bound=30)
    >>> bool(1 < mean_abundance(fit).value < 2)
    True
    """
    contrast = at_mean_covariates(
        {"abundance": fit.abundance, "detection": fit.detection}, "abundance"
    )
    return line_estimate(fit.fitted, contrast, name="animals a site", level=level, link="log")


def single_detection(fit: AbundanceFit, *, level: float = 0.95) -> Estimate:
    """Chance of hearing one animal on one visit, at the mean of the covariates.

    Parameters
    ----------
    fit
        A fitted model.
    level
        Confidence level of the interval.

    Returns
    -------
    Estimate
        A chance from 0 to 1, with a profile-likelihood interval.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> animals = rng.poisson(1.5, 300)
    >>> heard = rng.random((300, 4)) < 1 - 0.6 ** animals[:, None]
    >>> fit = fit_abundance(heard, bound=30)
    >>> chance = single_detection(fit)
    >>> bool(chance.low < 0.4 < chance.high)
    True
    """
    contrast = at_mean_covariates(
        {"abundance": fit.abundance, "detection": fit.detection}, "detection"
    )
    return line_estimate(
        fit.fitted, contrast, name="chance of hearing one animal", level=level, link="logit"
    )


def occupancy_from_abundance(fit: AbundanceFit, *, level: float = 0.95) -> Estimate:
    """Share of sites with at least one animal, 1 - exp(-mean), averaged over the rows.

    Parameters
    ----------
    fit
        A fitted model.
    level
        Confidence level of the interval.

    Returns
    -------
    Estimate
        A share from 0 to 1, with an interval by the delta method on the logit scale.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> animals = rng.poisson(1.5, 300)
    >>> heard = rng.random((300, 4)) < 1 - 0.6 ** animals[:, None]
    >>> fit = fit_abundance(heard, bound=30)
    >>> share = occupancy_from_abundance(fit)
    >>> bool(share.low < 1 - np.exp(-1.5) < share.high)
    True
    """
    matrix = fit.abundance.matrix

    def share(theta: FloatArray) -> tuple[float, FloatArray]:
        mean = np.exp(matrix @ theta[: matrix.shape[1]])
        gradient = np.zeros(len(theta))
        gradient[: matrix.shape[1]] = matrix.T @ (mean * np.exp(-mean)) / len(mean)
        return float(-np.expm1(-mean).mean()), gradient

    return derived_share(fit.fitted, share, name="occupancy from abundance", level=level)


def _fit(
    history: FloatArray,
    by_row: Design,
    by_visit: Design,
    names: tuple[str, ...],
    flags: tuple[str, ...],
    bound: int,
) -> ModelFit:
    (row_matrix, visit_matrix), back = all_standardized((by_row, by_visit))
    cells = occupancy_cells(history, row_matrix, visit_matrix)
    k = len(by_row.names)

    def predictors(theta: FloatArray) -> FloatArray:
        r_logit = (cells.p_design @ theta[k:])[cells.trials > 0]
        return np.concatenate([cells.psi_design @ theta[:k], r_logit])

    fitted = fit_model(
        _objective(cells, bound),
        _starts(history, by_row, by_visit),
        method=METHOD,
        names=names,
        rows=len(history),
        back=back,
        predictors=predictors,
        flags=flags,
    )
    if fitted.maximum is not None and _moves(cells, fitted.maximum.theta, bound):
        flag = (estimates.NOT_IDENTIFIED, estimates.MOVES_WITH_BOUND)
        fitted = replace(fitted, flags=merge_flags(fitted.flags, flag))
    return fitted


def _objective(cells: OccupancyCells, bound: int) -> Objective:
    gradient = value_gradient(cells, bound=bound)
    return Objective(value_gradient=gradient, hessian=numeric_hessian(gradient), costly=True)


def _moves(cells: OccupancyCells, theta: FloatArray, bound: int) -> bool:
    """Whether mean abundance changes when the sum goes twice as far."""
    farther = maximize(_objective(cells, 2 * bound), theta).theta
    k = cells.psi_design.shape[1]
    change = cells.psi_design @ (farther[:k] - theta[:k])
    return bool(np.abs(change).max() > _TRUNCATION_TOLERANCE)


def _starts(history: FloatArray, by_row: Design, by_visit: Design) -> list[FloatArray]:
    """From the naive share and rate: one animal where heard, and many that are seldom heard."""
    share = np.clip((np.nansum(history, axis=1) > 0).mean(), 0.05, 0.95)
    rate = np.clip(np.nansum(history) / (~np.isnan(history)).sum() / share, 0.05, 0.95)
    starts = []
    for crowd in (1.0, 4.0):
        mean = -np.log1p(-share) * crowd
        start = np.zeros(len(by_row.names) + len(by_visit.names))
        start[0] = np.log(mean)
        start[len(by_row.names)] = float(logit(np.clip(rate / crowd, 0.02, 0.9)))
        starts.append(start)
    return starts
