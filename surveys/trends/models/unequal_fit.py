"""A fitted occupancy model once more, with sites that differ in detection."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surveys.trends import estimates
from surveys.trends.models.level_models import LevelModel, Stretch, joined, joined_scores
from surveys.trends.models.model_fit import EDGE_LOGIT
from surveys.trends.models.occupancy import OccupancyFit
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.numerics.optimize import covariance_of, identified, maximize
from surveys.trends.numerics.sandwich import sandwich_covariance

# A step of one class from the other beyond this says that one class is never or always heard.
_FARTHEST_NUMBER = 8.0


@dataclass(frozen=True, kw_only=True)
class UnequalFit:
    """What a contest of models needs to know; on the scale of the search.

    ``coefficients`` (K,) are those of occupancy, of detection and the single numbers of the form;
    ``covariance`` (K, K) has NaN for what is not identified, ``clustered_covariance`` is None
    without clusters.
    """

    coefficients: FloatArray
    covariance: FloatArray
    clustered_covariance: FloatArray | None
    log_likelihood: float
    flags: tuple[str, ...]


def fit_unequal_detection(fit: OccupancyFit, model: LevelModel) -> UnequalFit:
    """The data and covariates of a fit under another form of detection.

    Parameters
    ----------
    fit
        An occupancy model that was fitted.
    model
        The form of detection.

    Returns
    -------
    UnequalFit
        Flagged where the data do not carry the form.

    Raises
    ------
    ValueError
        When nothing was fitted.

    Examples
    --------
    >>> import numpy as np
    >>> from surveys.trends.models.level_models import in_two_classes
    >>> from surveys.trends.models.occupancy import fit_occupancy
    >>> rng = np.random.default_rng(1)
    >>> chance = np.where(rng.random((2000, 1)) < 0.5, 0.8, 0.2)
    >>> heard = (rng.random((2000, 1)) < 0.6) & (rng.random((2000, 6)) < chance)
    >>> fit = fit_occupancy(heard)
    >>> unequal = fit_unequal_detection(fit, in_two_classes)
    >>> bool(unequal.log_likelihood > fit.log_likelihood + 50), unequal.flags
    (True, ())
    """
    if fit.maximum is None:
        raise ValueError("fit: nothing was fitted")
    stretches = _stretches(fit, model)
    k = len(fit.maximum.theta)
    start = np.concatenate([fit.maximum.theta, stretches[0].likelihood.start])
    maximum = maximize(joined(stretches), start)
    lines = np.concatenate(
        [
            fit.cells.psi_design @ maximum.theta[: fit.cells.psi_design.shape[1]],
            fit.cells.p_logit(maximum.theta[:k])[fit.cells.trials > 0],
        ]
    )
    known = identified(maximum)
    flags: list[str] = []
    if not maximum.converged:
        flags.append(estimates.DID_NOT_CONVERGE)
    far = np.abs(maximum.theta[k:]).max(initial=0.0) > _FARTHEST_NUMBER
    if far or np.abs(lines).max(initial=0.0) > EDGE_LOGIT:
        flags.append(estimates.EDGE_OF_RANGE)
    elif not known.all():
        flags.append(estimates.NOT_IDENTIFIED)
    clustered = None
    if fit.clustered_covariance is not None:
        scores = joined_scores(stretches, maximum.theta, fit.cluster)
        clustered = np.full(maximum.hessian.shape, np.nan)
        block = np.ix_(known, known)
        clustered[block] = sandwich_covariance(-maximum.hessian[block], scores[:, known])
    return UnequalFit(
        coefficients=maximum.theta,
        covariance=covariance_of(maximum),
        clustered_covariance=clustered,
        log_likelihood=maximum.value,
        flags=tuple(flags),
    )


def _stretches(fit: OccupancyFit, model: LevelModel) -> list[Stretch]:
    """The likelihood of all rows, or level by level where detection has levels of its own."""
    cells = fit.cells
    level = (
        np.zeros(len(cells.group), np.int64) if cells.level is None else cells.level[cells.group]
    )
    psi_size, levels = cells.psi_design.shape[1], len(cells.levels)
    made = []
    for code in np.unique(level).tolist():
        rows = np.flatnonzero(level == code)
        of_rows = cells.group[rows]
        p_design = cells.p_design[of_rows]
        if cells.level is not None:
            own = np.full((*p_design.shape[:2], 1), cells.levels[code])
            p_design = np.concatenate([own, p_design], axis=-1)
        if p_design.shape[1] == 1:
            p_design = p_design[:, 0]
        likelihood = model.of_rows(fit.history[rows], cells.psi_design[of_rows], p_design, rows)
        more = cells.p_design.shape[-1] + len(likelihood.start)
        columns = [
            np.arange(psi_size),
            np.arange(psi_size + code, psi_size + code + (levels > 0)),
            np.arange(psi_size + levels, psi_size + levels + more),
        ]
        made.append(Stretch(likelihood=likelihood, columns=np.concatenate(columns), rows=rows))
    return made
