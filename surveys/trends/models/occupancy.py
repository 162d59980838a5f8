"""Single-season occupancy corrected for detection (MacKenzie et al. 2002, Ecology 83:2248-2255).

Missing visits are allowed. Covariates act on occupancy (one value a row) and on detection (one
value a row, or a row and visit), both on the logit scale.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, logit

from surveys.trends import estimates
from surveys.trends.estimates import Estimate
from surveys.trends.models.model_fit import EDGE_LOGIT, FEWEST_CLUSTERS, back_transformed
from surveys.trends.models.occupancy_likelihood import (
    OccupancyCells,
    cells_of_layout,
    clustered_scores,
    objective,
    occupancy_cells,
)
from surveys.trends.numerics.arrays import FloatArray, IntArray, codes_of, float_array
from surveys.trends.numerics.design import (
    INTERCEPT,
    Design,
    blocks,
    coefficient_names,
    drop_incomplete,
    level_scale,
    site_design,
    standardized,
    visit_design,
)
from surveys.trends.numerics.intervals import t_quantile, wilson
from surveys.trends.numerics.optimize import Maximum, covariance_of, identified, maximize
from surveys.trends.numerics.sandwich import sandwich_covariance
from surveys.trends.numerics.visit_layout import MOST_NUMBERS
from surveys.trends.printing import PrintedRow, PrintsAsTable, coefficient_rows

_UNSETTLED = {
    estimates.DID_NOT_CONVERGE,
    estimates.EDGE_OF_RANGE,
    estimates.NEVER_HEARD,
    estimates.NO_EFFORT,
    estimates.NOT_IDENTIFIED,
}
METHOD = "single-season-occupancy"


@dataclass(frozen=True, kw_only=True, repr=False)
class OccupancyFit(PrintsAsTable):
    """A fitted occupancy model.

    ``history`` (rows, visits) holds the rows used, ``psi`` and ``p`` their designs.
    ``coefficients`` (K,) are those of ``psi``, then those of ``p``, on the logit scale and in the
    units of the covariates; ``covariance`` (K, K) has NaN for what is not identified.
    ``clustered_covariance`` is the sandwich, None without clusters; ``cluster`` (rows,) is the
    code of each row's cluster. ``rows`` counts the
    site-seasons used, ``maximum`` is None when nothing could be fitted; its parameters are on the
    scaled covariates, ``coefficients = back @ maximum.theta``.
    """

    history: FloatArray
    psi: Design
    p: Design
    coefficients: FloatArray
    covariance: FloatArray
    clustered_covariance: FloatArray | None
    clusters: int
    cluster: IntArray
    log_likelihood: float
    aic: float
    rows: int
    naive: Estimate
    flags: tuple[str, ...]
    cells: OccupancyCells
    maximum: Maximum | None
    back: FloatArray

    def printed_title(self) -> str:
        return f"occupancy (MacKenzie et al. 2002), logit scale, {self.rows} site-seasons"

    def printed_rows(self) -> Sequence[PrintedRow]:
        clustered = self.clustered_covariance
        covariance = self.covariance if clustered is None else clustered
        degrees = np.inf if clustered is None else self.clusters - 1
        names = coefficient_names({"occupancy": self.psi, "detection": self.p})
        return coefficient_rows(
            names, self.coefficients, covariance, quantile=t_quantile(0.95, degrees)
        )

    def printed_flags(self) -> tuple[str, ...]:
        return self.flags


def fit_occupancy(
    detections: ArrayLike,
    *,
    occupancy: Mapping[str, ArrayLike] | None = None,
    detection: Mapping[str, ArrayLike] | None = None,
    clusters: ArrayLike | None = None,
) -> OccupancyFit:
    """Fit occupancy and detection of one season by maximum likelihood.

    Parameters
    ----------
    detections
        (rows, visits) of 1 heard, 0 not heard and NaN for a visit that did not happen.
    occupancy
        Covariates of occupancy by name, (rows,), on the logit scale.
    detection
        Covariates of detection by name, (rows,) or (rows, visits), on the logit scale.
    clusters
        (rows,) labels of rows that belong together, for sandwich standard errors.

    Returns
    -------
    OccupancyFit
        Data that cannot carry the model give flags, never an exception.

    Raises
    ------
    ValueError
        For arrays of the wrong shape, or values other than 0, 1 and NaN.

    References
    ----------
    MacKenzie et al. 2002, Ecology 83:2248-2255.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> occupied = rng.random(200) < 0.6
    >>> heard = occupied[:, None] & (rng.random((200, 3)) < 0.5)
    >>> fit = fit_occupancy(heard)
    >>> fit.coefficients.shape, fit.flags
    ((2,), ())
    """
    history = check_histories(detections)
    rows, visits = history.shape
    return fit_occupancy_designs(
        history,
        psi=site_design(rows, occupancy),
        p=visit_design(rows, visits, detection),
        clusters=clusters,
    )


def fit_occupancy_designs(
    detections: ArrayLike,
    *,
    psi: Design,
    p: Design,
    clusters: ArrayLike | None = None,
    like: OccupancyFit | None = None,
) -> OccupancyFit:
    """The fit of ``fit_occupancy`` with design matrices in place of covariates.

    Parameters
    ----------
    detections
        (rows, visits) of 1 heard, 0 not heard and NaN for a visit that did not happen.
    psi
        Design of occupancy, (rows, k).
    p
        Design of detection, (rows, m) or (rows, visits, m).
    clusters
        (rows,) labels of rows that belong together, for sandwich standard errors.
    like
        A fit of the same data with other columns: the search of a large program begins at its
        coefficients, which saves time and changes nothing else.

    Returns
    -------
    OccupancyFit
        Data that cannot carry the model give flags, never an exception.

    Raises
    ------
    ValueError
        For arrays of the wrong shape, or values other than 0, 1 and NaN.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> year = np.repeat([2023, 2024], 100)
    >>> heard = (rng.random((200, 1)) < 0.6) & (rng.random((200, 3)) < 0.5)
    >>> by_year = Design(names=("2023", "2024"), matrix=1.0 * (year[:, None] == [2023, 2024]))
    >>> fit = fit_occupancy_designs(heard, psi=by_year, p=site_design(200))
    >>> fit.psi.names, len(fit.coefficients)
    (('2023', '2024'), 3)
    """
    history = check_histories(detections)
    if psi.matrix.shape[:1] != history.shape[:1] or psi.matrix.ndim != 2:
        raise ValueError(f"psi design: expected {len(history)} rows, got {psi.matrix.shape}")
    if p.matrix.shape[:-1] not in (history.shape, history.shape[:1]):
        raise ValueError(f"p design: {p.matrix.shape} does not fit histories {history.shape}")
    label = np.arange(len(history)) if clusters is None else np.asarray(clusters)
    if label.shape != (len(history),):
        raise ValueError(f"clusters: expected {len(history)} labels, got shape {label.shape}")

    history, kept, incomplete = drop_incomplete(history, psi, p)
    flags: tuple[str, ...] = (estimates.COVARIATE_MISSING,) if incomplete else ()
    psi = psi.select(kept)
    p = p.select(kept)
    cluster = label[kept]
    if clusters is not None:
        cluster = codes_of(cluster, name="clusters", length=len(history))[1]
    scaled_psi, back_psi = standardized(psi)
    scaled_p, back_p = standardized(_without_missing(p, history))
    visits = (~np.isnan(history)).sum(axis=1).astype(np.float64)
    scale = level_scale(p, visits if p.matrix.ndim == 3 else np.ones(len(history)))
    if p.layout is not None and p.places is not None and p.layout.is_of(history):
        cells = cells_of_layout(
            p.layout, p.places, scaled_psi, scaled_p, levels=1 / scale, level=p.level
        )
    else:
        cells = occupancy_cells(
            history, scaled_psi, scaled_p,
            levels=1 / scale, level=p.level, clean=p.units is not None,
        )  # fmt: skip
    back = blocks(blocks(back_psi, np.diag(1 / scale)), back_p)
    if p.units is not None and p.levels:
        # Levels stand in place of an intercept, and take up where the columns are centered.
        first = len(back_psi)
        back[first : first + p.levels, first + p.levels :] = -p.units[0] / p.units[1]

    heard = int((history == 1).any(axis=1).sum())
    naive = wilson(heard, len(history), name="naive occupancy")
    flags = estimates.merge_flags(flags, history_flags(history))
    maximum, covariance = None, np.full(back.shape, np.nan)
    if estimates.NO_EFFORT not in flags and estimates.NEVER_HEARD not in flags:
        large = history.size > MOST_NUMBERS
        if large and like is not None and not _UNSETTLED & set(like.flags):
            start = np.asarray(np.linalg.solve(back, _as_in(like, psi, p)), dtype=np.float64)
        else:
            start = _start(psi, p, history, heard)
        maximum = maximize(objective(cells), start)
        covariance = covariance_of(maximum)
        flags = estimates.merge_flags(flags, _search_flags(maximum, cells, covariance))
    return _assemble(
        history,
        psi,
        p,
        cells,
        cluster,
        maximum,
        covariance,
        back,
        naive,
        flags,
        clusters is not None,
    )


def check_histories(detections: ArrayLike) -> FloatArray:
    """Detection histories as floats; ValueError unless every value is 0, 1 or NaN."""
    history = float_array(detections, name="detections", ndim=2)
    wrong = ~np.isnan(history) & (history != 0) & (history != 1)
    if wrong.any():
        row, visit = np.argwhere(wrong)[0]
        raise ValueError(
            f"detections: row {row}, visit {visit}: expected 0, 1 or NaN, got {history[row, visit]}"
        )
    return history


def visit_chances(fit: OccupancyFit) -> FloatArray:
    """The chance that each visit hears the species where it is, (rows, visits)."""
    if fit.maximum is None:
        return np.full(fit.history.shape, np.nan)
    chances = expit(fit.cells.p_logit(fit.maximum.theta))[fit.cells.group]
    return np.broadcast_to(chances, fit.history.shape)


def history_flags(history: FloatArray) -> tuple[str, ...]:
    """What detection histories (rows, visits) cannot carry, before anything is fitted."""
    if not len(history):
        return (estimates.NO_EFFORT, estimates.TOO_FEW_DATA)
    detections = (history == 1).sum(axis=1)
    flags: list[str] = []
    if not detections.any():
        flags += [estimates.NEVER_HEARD, estimates.TOO_FEW_DATA]
    if (~np.isnan(history)).sum(axis=1).max() < 2:
        flags += [estimates.NO_REPEAT_VISITS, estimates.NOT_IDENTIFIED]
    elif detections.max() == 1:
        flags += [estimates.NEVER_HEARD_TWICE, estimates.NOT_IDENTIFIED]
    return tuple(flags)


def _without_missing(p: Design, history: FloatArray) -> Design:
    """Visits that did not happen must not shift the scaling of a covariate."""
    missing = np.ascontiguousarray(np.isnan(history).T)
    if p.matrix.ndim == 2 or p.units is not None or not missing.any():
        return p
    return replace(p, matrix=np.where(missing, np.nan, p.matrix.T).T)


def _start(psi: Design, p: Design, history: FloatArray, heard: int) -> FloatArray:
    """Intercepts near the naive shares, all slopes zero."""
    share = np.clip(heard / len(history), 0.05, 0.95)
    detections = history == 1
    visits = ~np.isnan(history[detections.any(axis=1)])
    rate = detections.sum() / max(visits.sum(), 1)
    return np.concatenate(
        [
            _start_part(psi, float(logit(share))),
            _start_part(p, float(logit(np.clip(rate, 0.05, 0.95)))),
        ]
    )


def _as_in(like: OccupancyFit, psi: Design, p: Design) -> FloatArray:
    """Coefficients by name, in the units of the covariates; of those that the other fit lacks,
    levels in place of an intercept are that intercept, and slopes zero."""
    found, first = [], 0
    for design, other in ((psi, like.psi), (p, like.p)):
        known = dict(zip(other.names, like.coefficients[first:].tolist(), strict=False))
        level = 0.0 if INTERCEPT in design.names else known.get(INTERCEPT, 0.0)
        found += [known.get(name, level) for name in design.names]
        first += len(other.names)
    return np.array(found)


def _start_part(design: Design, level: float) -> FloatArray:
    has_intercept = INTERCEPT in design.names
    return np.array(
        [level if name == INTERCEPT or not has_intercept else 0.0 for name in design.names]
    )


def _search_flags(
    maximum: Maximum, cells: OccupancyCells, covariance: FloatArray
) -> tuple[str, ...]:
    edge = cells.largest_logit(maximum.theta) > EDGE_LOGIT
    flags: list[str] = []
    if not maximum.converged:
        flags.append(estimates.DID_NOT_CONVERGE)
    if edge:
        flags.append(estimates.EDGE_OF_RANGE)
    elif np.isnan(covariance).any():
        flags.append(estimates.NOT_IDENTIFIED)
    return tuple(flags)


def _assemble(
    history: FloatArray,
    psi: Design,
    p: Design,
    cells: OccupancyCells,
    cluster: IntArray,
    maximum: Maximum | None,
    covariance: FloatArray,
    back: FloatArray,
    naive: Estimate,
    flags: tuple[str, ...],
    clustered: bool,
) -> OccupancyFit:
    size = len(back)
    sandwich, coefficients = None, np.full(size, np.nan)
    clusters = int(cluster.max(initial=-1)) + 1
    if maximum is not None:
        coefficients = back @ maximum.theta
        covariance = back_transformed(covariance, back)
        if clustered and clusters > 1:
            sandwich = back_transformed(clustered_covariance(cells, maximum, cluster), back)
            if clusters < FEWEST_CLUSTERS:
                flags = estimates.merge_flags(flags, (estimates.FEW_CLUSTERS,))
    log_likelihood = float("nan") if maximum is None else maximum.value
    return OccupancyFit(
        history=history,
        psi=psi,
        p=p,
        coefficients=coefficients,
        covariance=covariance,
        clustered_covariance=sandwich,
        clusters=clusters,
        cluster=cluster,
        log_likelihood=log_likelihood,
        aic=2 * size - 2 * log_likelihood,
        rows=len(cells.group),
        naive=naive,
        flags=flags,
        cells=cells,
        maximum=maximum,
        back=back,
    )


def clustered_covariance(cells: OccupancyCells, maximum: Maximum, cluster: IntArray) -> FloatArray:
    """Sandwich covariance (K, K) on the scale of ``maximum``; NaN where not identified."""
    known = identified(maximum)
    scores = clustered_scores(cells, maximum.theta, cluster)
    covariance = np.full(maximum.hessian.shape, np.nan)
    block = np.ix_(known, known)
    covariance[block] = sandwich_covariance(-maximum.hessian[block], scores[:, known])
    return covariance
