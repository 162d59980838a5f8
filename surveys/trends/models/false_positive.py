"""Occupancy where some of what was heard is false (Miller et al. 2011, Ecology 92:1422-1428).

A detection that somebody confirmed is certain: it proves the site occupied. All others may be
mistakes; one that was checked in vain more likely than one that nobody checked. How many are is
estimated from certain and uncertain detections together; from uncertain ones alone it is not
identified, because a model with occupied and empty sites exchanged fits as well (Royle & Link 2006,
Ecology 87:835-841), so no number is given.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, logit

from surveys.trends import estimates
from surveys.trends.estimates import Estimate, merge_flags
from surveys.trends.models.false_positive_likelihood import (
    FalsePositiveCells,
    cell_scores,
    false_positive_cells,
    objective,
)
from surveys.trends.models.model_fit import (
    HoldsModelFit,
    ModelFit,
    clustered_by,
    derived_share,
    fit_model,
    line_estimate,
    unfitted,
)
from surveys.trends.models.occupancy import check_histories, history_flags
from surveys.trends.numerics.arrays import BoolArray, FloatArray
from surveys.trends.numerics.design import (
    Design,
    all_standardized,
    at_mean_covariates,
    coefficient_names,
    drop_incomplete,
    join,
    site_design,
    visit_design,
)

METHOD = "false-positive-occupancy"
Part = Literal["detection", "false detection", "confirmation"]
PARTS: tuple[Part, ...] = ("detection", "false detection", "confirmation")
Covariates = Mapping[str, ArrayLike]
_FALSE_STARTS = (0.01, 0.1)


@dataclass(frozen=True, kw_only=True, repr=False)
class FalsePositiveFit(HoldsModelFit):
    """A fitted model: the designs of occupancy and of the three chances of a visit.

    ``coefficients`` of ``fitted`` are those of psi, of p11 (``detection``), of p10 (``false
    detection``) and of b (``confirmation``), on the logit scale.
    """

    fitted: ModelFit
    psi: Design
    parts: Mapping[Part, Design]
    cells: FalsePositiveCells


def fit_false_positive(
    detections: ArrayLike,
    certain: ArrayLike,
    *,
    checked: ArrayLike | None = None,
    occupancy: Covariates | None = None,
    detection: Covariates | None = None,
    false_detection: Covariates | None = None,
    known_error: ArrayLike | None = None,
    clusters: ArrayLike | None = None,
) -> FalsePositiveFit:
    """Fit occupancy, detection, false detection and confirmation by maximum likelihood.

    Parameters
    ----------
    detections
        (rows, visits) of 1 heard, 0 not heard and NaN for a visit that did not happen.
    certain
        (rows, visits), true where a detection was confirmed.
    checked
        (rows, visits), true where somebody tried to confirm what was heard; without it, every
        detection counts as checked.
    occupancy
        Covariates of occupancy by name, (rows,), on the logit scale.
    detection, false_detection
        Covariates by name, (rows,) or (rows, visits), of being heard at an occupied and at an empty
        site, on the logit scale.
    known_error
        (rows,) or (rows, visits): the rate at which the observer of a visit was found to report
        what is not there, above 0 and below 1. Its logit is an offset of false detection, so that
        the intercept tells how the rate differs from it on the surveys.
    clusters
        (rows,) labels of rows that belong together, for sandwich standard errors.

    Returns
    -------
    FalsePositiveFit
        Flagged as not identified, without a number, when no detection is certain.

    Raises
    ------
    ValueError
        For arrays of the wrong shape or with other values, or a certain visit that heard nothing or
        was not checked.

    References
    ----------
    Miller et al. 2011, Ecology 92:1422-1428; Royle & Link 2006, Ecology 87:835-841.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> occupied = rng.random(400)[:, None] < 0.5
    >>> heard = rng.random((400, 4)) < np.where(occupied, 0.6, 0.05)
    >>> certain = heard & occupied & (rng.random((400, 4)) < 0.3)
    >>> fit = fit_false_positive(heard, certain)
    >>> mistaken = false_positive_chance(fit, "false detection")
    >>> bool(mistaken.low < 0.05 < mistaken.high)
    True
    """
    rows, visits = check_histories(detections).shape
    return fit_false_positive_designs(
        detections,
        certain,
        checked=checked,
        psi=site_design(rows, occupancy),
        parts={
            "detection": visit_design(rows, visits, detection),
            "false detection": visit_design(rows, visits, false_detection),
            "confirmation": site_design(rows),
        },
        known_error=known_error,
        clusters=clusters,
    )


def fit_false_positive_designs(
    detections: ArrayLike,
    certain: ArrayLike,
    *,
    checked: ArrayLike | None = None,
    psi: Design,
    parts: Mapping[Part, Design],
    known_error: ArrayLike | None = None,
    clusters: ArrayLike | None = None,
) -> FalsePositiveFit:
    """The fit of ``fit_false_positive`` with design matrices, such as a level for each year.

    Parameters
    ----------
    detections, certain, checked, known_error, clusters
        As ``fit_false_positive`` takes them; a row is a site and season where seasons are stacked.
    psi
        Design of occupancy, (rows, k).
    parts
        Designs of ``detection``, ``false detection`` and ``confirmation``, (rows, m) or (rows,
        visits, m).

    Returns
    -------
    FalsePositiveFit
        Flagged as not identified, without a number, when no detection is certain.

    Raises
    ------
    ValueError
        For arrays of the wrong shape or with other values, or a certain visit that heard nothing or
        was not checked.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> year = np.repeat([2023, 2024], 300)
    >>> occupied = rng.random(600)[:, None] < 0.5
    >>> heard = rng.random((600, 4)) < np.where(occupied, 0.6, 0.05)
    >>> certain = heard & occupied & (rng.random((600, 4)) < 0.3)
    >>> by_year = Design(names=("2023", "2024"), matrix=1.0 * (year[:, None] == [2023, 2024]))
    >>> parts = {part: site_design(600) for part in PARTS}
    >>> fit = fit_false_positive_designs(heard, certain, psi=by_year, parts=parts)
    >>> len(fit.fitted.coefficients), fit.fitted.flags
    (5, ())
    """
    history = check_histories(detections)
    sure = check_certain(history, certain)
    again = _check_checked(sure, checked)
    offset = _offset(history, known_error)
    by_visit = join(*(parts[part] for part in PARTS))
    history, kept, lost = drop_incomplete(history, psi, by_visit)
    psi, parts = psi.select(kept), {part: parts[part].select(kept) for part in PARTS}
    names = coefficient_names({"occupancy": psi, **parts})
    (psi_matrix, p_matrix, false_matrix, certain_matrix), back = all_standardized(
        (psi, *parts.values())
    )
    cells = false_positive_cells(
        history,
        sure[kept],
        checked=None if again is None else again[kept],
        psi_design=psi_matrix,
        p_design=p_matrix,
        false_design=false_matrix,
        false_offset=offset[kept],
        certain_design=certain_matrix,
    )
    flags = merge_flags(
        (estimates.COVARIATE_MISSING,) if lost else (), certain_flags(history, sure[kept])
    )
    if {estimates.NO_EFFORT, estimates.NEVER_HEARD, estimates.NOT_IDENTIFIED} & set(flags):
        fitted = unfitted(method=METHOD, names=names, rows=len(history), flags=flags)
    else:
        fitted = _fit(cells, back, names, flags)
    fitted = clustered_by(
        fitted, clusters, kept, lambda theta: cell_scores(cells, theta)[cells.group]
    )
    return FalsePositiveFit(fitted=fitted, psi=psi, parts=parts, cells=cells)


def false_positive_occupancy(fit: FalsePositiveFit, *, level: float = 0.95) -> Estimate:
    """Share of sites occupied, averaged over the rows.

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
    >>> occupied = rng.random(400)[:, None] < 0.5
    >>> heard = rng.random((400, 4)) < np.where(occupied, 0.6, 0.05)
    >>> certain = heard & occupied & (rng.random((400, 4)) < 0.3)
    >>> share = false_positive_occupancy(fit_false_positive(heard, certain))
    >>> bool(share.low < 0.5 < share.high)
    True
    """
    matrix = fit.psi.matrix
    size = matrix.shape[1]

    def share(theta: FloatArray) -> tuple[float, FloatArray]:
        psi = expit(matrix @ theta[:size])
        gradient = np.zeros(len(theta))
        gradient[:size] = matrix.T @ (psi * (1 - psi)) / len(psi)
        return float(psi.mean()), gradient

    return derived_share(fit.fitted, share, name="occupancy", level=level)


def false_positive_chance(fit: FalsePositiveFit, part: Part, *, level: float = 0.95) -> Estimate:
    """A chance of one visit at the mean of its covariates.

    Parameters
    ----------
    fit
        A fitted model.
    part
        ``detection``: heard at an occupied site. ``false detection``: heard at an empty one.
        ``confirmation``: certain, where heard at an occupied site and checked.
    level
        Confidence level of the interval.

    Returns
    -------
    Estimate
        A chance from 0 to 1, with a profile-likelihood interval, or by t when clustered. A chance
        of false detection with a known error rate is told at the mean of its logit.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> occupied = rng.random(400)[:, None] < 0.5
    >>> heard = rng.random((400, 4)) < np.where(occupied, 0.6, 0.05)
    >>> certain = heard & occupied & (rng.random((400, 4)) < 0.3)
    >>> sure = false_positive_chance(fit_false_positive(heard, certain), "confirmation")
    >>> bool(sure.low < 0.3 < sure.high)
    True
    """
    contrast = at_mean_covariates({"occupancy": fit.psi, **fit.parts}, part)
    estimate = line_estimate(fit.fitted, contrast, name=part, level=level, link="logit")
    cells = fit.cells
    if part == "false detection" and cells.false_offset.any():
        listened = cells.trials * cells.weight[:, None]
        shift = float((listened * cells.false_offset).sum() / listened.sum())
        estimate = _shifted(estimate, shift)
    return estimate


def check_certain(history: FloatArray, certain: ArrayLike) -> BoolArray:
    """Marks of certain detections as (rows, visits); ValueError where nothing was heard."""
    sure = np.nan_to_num(np.asarray(certain, dtype=np.float64)) > 0
    if sure.shape != history.shape:
        raise ValueError(f"certain: expected shape {history.shape}, got {sure.shape}")
    if (sure & ~(history == 1)).any():
        row, visit = np.argwhere(sure & ~(history == 1))[0]
        raise ValueError(f"certain: row {row}, visit {visit} is certain but was not heard")
    return sure


def _check_checked(sure: BoolArray, checked: ArrayLike | None) -> BoolArray | None:
    if checked is None:
        return None
    again = np.nan_to_num(np.asarray(checked, dtype=np.float64)) > 0
    if again.shape != sure.shape:
        raise ValueError(f"checked: expected shape {sure.shape}, got {again.shape}")
    if (sure & ~again).any():
        row, visit = np.argwhere(sure & ~again)[0]
        raise ValueError(f"checked: row {row}, visit {visit} is certain but was not checked")
    return again


def certain_flags(history: FloatArray, sure: BoolArray) -> tuple[str, ...]:
    """What histories and their certain detections cannot carry, before anything is fitted."""
    flags = history_flags(history)
    return flags if sure.any() else merge_flags(flags, (estimates.NOT_IDENTIFIED,))


def _offset(history: FloatArray, known_error: ArrayLike | None) -> FloatArray:
    if known_error is None:
        return np.zeros(len(history))
    rates = np.asarray(known_error, dtype=np.float64)
    if rates.shape not in (history.shape, history.shape[:1]):
        raise ValueError(f"known_error: {rates.shape} does not fit histories {history.shape}")
    listened = ~np.isnan(history) if rates.ndim == 2 else ~np.isnan(history).all(axis=1)
    if not ((rates > 0) & (rates < 1))[listened].all():
        raise ValueError("known_error: expected rates above 0 and below 1 for every visit")
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(listened, logit(rates), 0.0)


def _fit(
    cells: FalsePositiveCells, back: FloatArray, names: tuple[str, ...], flags: tuple[str, ...]
) -> ModelFit:
    def predictors(theta: FloatArray) -> FloatArray:
        psi_size, p_size, _, _ = cells.sizes
        p_logit = (cells.p_design @ theta[psi_size : psi_size + p_size])[cells.trials > 0]
        return np.concatenate([cells.psi_design @ theta[:psi_size], p_logit])

    return fit_model(
        objective(cells),
        [_start(cells, false) for false in _FALSE_STARTS],
        method=METHOD,
        names=names,
        rows=len(cells.group),
        back=back,
        predictors=predictors,
        flags=flags,
    )


def _start(cells: FalsePositiveCells, false: float) -> FloatArray:
    """From the naive share and rate, with few detections false."""
    heard_at = cells.heard.any(axis=1)
    share = float(cells.weight[heard_at].sum() / cells.weight.sum())
    by_row = cells.weight[:, None]
    rate = float((by_row * cells.heard).sum() / (by_row * cells.trials)[heard_at].sum())
    sure = float((by_row * cells.confirmed).sum() / max((by_row * cells.checked).sum(), 1.0))
    levels = (share, rate, false, sure)
    designs = (cells.psi_design, cells.p_design, cells.false_design, cells.certain_design)
    parts = [_level(*pair) for pair in zip(designs, levels, strict=True)]
    parts[2][:1] -= float(cells.false_offset.mean())
    return np.concatenate(parts)


def _level(design: FloatArray, level: float) -> FloatArray:
    """A level on the intercept, or on every column where there is none, as with years."""
    start = np.full(design.shape[-1], float(logit(np.clip(level, 0.01, 0.95))))
    if start.size and (design[..., 0] == 1).all():
        start[1:] = 0.0
    return start


def _shifted(estimate: Estimate, shift: float) -> Estimate:
    def moved(share: float | None) -> float | None:
        if share is None or share in (0.0, 1.0):
            return share
        return float(expit(logit(share) + shift))

    return replace(
        estimate,
        value=moved(estimate.value),
        low=moved(estimate.low),
        high=moved(estimate.high),
        se=None,
    )
