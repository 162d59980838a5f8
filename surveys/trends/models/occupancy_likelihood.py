"""Likelihood of the single-season occupancy model, its gradient and its Hessian.

MacKenzie et al. 2002, Ecology 83:2248-2255. A site is occupied with chance psi for the whole
season and then heard at visit j with chance p_j; an empty site is never heard. Rows that are the
same are counted once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray
from surveys.trends.numerics.grouping import group_rows
from surveys.trends.numerics.optimize import Objective

_Evaluation = tuple[FloatArray, FloatArray, FloatArray, FloatArray]


@dataclass(frozen=True, kw_only=True)
class OccupancyCells:
    """G distinct rows. Where nothing differs between visits they are added up, and J is 1.

    ``detections`` and ``trials`` are (G, J), ``psi_design`` (G, k), ``p_design`` (G, J, m),
    ``weight`` (G,) counts rows, ``group`` (rows,) leads from the rows to their cell.
    """

    detections: FloatArray
    trials: FloatArray
    psi_design: FloatArray
    p_design: FloatArray
    weight: FloatArray
    group: IntArray

    @cached_property
    def silent(self) -> BoolArray:
        """Cells in which the species was never heard, (G,)."""
        return np.asarray(~self.detections.any(axis=1), dtype=np.bool_)


def occupancy_cells(
    detections: FloatArray, psi_design: FloatArray, p_design: FloatArray
) -> OccupancyCells:
    """Group detection histories (rows, visits) of 0, 1 and NaN with their design rows."""
    seen = ~np.isnan(detections)
    heard = np.where(seen, detections, 0.0)
    trials = seen.astype(np.float64)
    if p_design.ndim == 2:
        heard, trials = heard.sum(axis=1, keepdims=True), trials.sum(axis=1, keepdims=True)
        p_design = p_design[:, None, :]
    else:
        # A covariate of a visit that did not happen must not keep rows apart, nor be NaN.
        p_design = np.where(seen[:, :, None], p_design, 0.0)
    first, group = group_rows(heard, trials, psi_design, p_design)
    return OccupancyCells(
        detections=heard[first],
        trials=trials[first],
        psi_design=psi_design[first],
        p_design=p_design[first],
        weight=np.bincount(group, minlength=len(first)).astype(np.float64),
        group=group,
    )


def log_likelihood(cells: OccupancyCells, theta: FloatArray) -> float:
    """Log-likelihood at ``theta``: coefficients of psi, then of p, on the logit scale."""
    log_likelihoods, _, _, _ = _evaluate(cells, theta)
    return float(cells.weight @ log_likelihoods)


def cell_scores(cells: OccupancyCells, theta: FloatArray) -> FloatArray:
    """Derivative of each cell's log-likelihood, (G, K), for one row of the cell."""
    _, occupied, psi, p = _evaluate(cells, theta)
    residual = cells.detections - cells.trials * p
    by_visit = (residual[:, None, :] @ cells.p_design)[:, 0, :]
    return np.hstack([(occupied - psi)[:, None] * cells.psi_design, occupied[:, None] * by_visit])


def occupied_given_history(cells: OccupancyCells, theta: FloatArray) -> FloatArray:
    """Chance that the rows of each cell were occupied, given what was heard there, (G,)."""
    return _evaluate(cells, theta)[1]


def objective(cells: OccupancyCells) -> Objective:
    """Value, gradient and Hessian for the search."""
    latest: list[tuple[FloatArray, _Evaluation]] = []

    def evaluate(theta: FloatArray) -> _Evaluation:
        # The Hessian is asked for at the point whose gradient was just computed.
        if not latest or latest[0][0] is not theta:
            latest[:] = [(theta, _evaluate(cells, theta))]
        return latest[0][1]

    def value_gradient(theta: FloatArray) -> tuple[float, FloatArray]:
        log_likelihoods, occupied, psi, p = evaluate(theta)
        psi_part = cells.psi_design.T @ (cells.weight * (occupied - psi))
        residual = (cells.detections - cells.trials * p) * (cells.weight * occupied)[:, None]
        p_part = _flat(cells.p_design).T @ residual.ravel()
        return float(cells.weight @ log_likelihoods), np.concatenate([psi_part, p_part])

    def hessian(theta: FloatArray) -> FloatArray:
        _, occupied, psi, p = evaluate(theta)
        residual = cells.detections - cells.trials * p
        by_visit = (residual[:, None, :] @ cells.p_design)[:, 0, :]
        pull = np.hstack([cells.psi_design, by_visit])
        matrix = pull.T @ ((cells.weight * occupied * (1 - occupied))[:, None] * pull)
        k = cells.psi_design.shape[1]
        spread = cells.weight * psi * (1 - psi)
        matrix[:k, :k] -= cells.psi_design.T @ (spread[:, None] * cells.psi_design)
        flat = _flat(cells.p_design)
        spread = ((cells.weight * occupied)[:, None] * cells.trials * p * (1 - p)).ravel()
        matrix[k:, k:] -= flat.T @ (spread[:, None] * flat)
        full: FloatArray = matrix
        return full

    return Objective(value_gradient=value_gradient, hessian=hessian)


def _evaluate(cells: OccupancyCells, theta: FloatArray) -> _Evaluation:
    """Log-likelihood, chance of being occupied given the history, psi and p of each cell."""
    k = cells.psi_design.shape[1]
    psi_logit = cells.psi_design @ theta[:k]
    p_logit = cells.p_design @ theta[k:]
    soft_psi, psi = _softplus_and_logistic(psi_logit)
    soft_p, p = _softplus_and_logistic(p_logit)
    # log p = logit - log(1 + e^logit) and log(1 - p) = -log(1 + e^logit) keep their digits at
    # both ends.
    heard = (cells.detections * p_logit - cells.trials * soft_p).sum(axis=1)
    occupied_part = psi_logit - soft_psi + heard
    log_likelihoods = occupied_part.copy()
    silent = cells.silent
    log_likelihoods[silent] = np.logaddexp(occupied_part[silent], -soft_psi[silent])
    occupied = np.exp(occupied_part - log_likelihoods)
    return log_likelihoods, occupied, psi, p


def _softplus_and_logistic(logit: FloatArray) -> tuple[FloatArray, FloatArray]:
    """log(1 + e^logit) and e^logit / (1 + e^logit), from one exponential that never overflows."""
    small = np.exp(-np.abs(logit))
    below = small / (1.0 + small)
    soft = np.maximum(logit, 0.0) + np.log1p(small)
    return soft, np.where(logit < 0.0, below, 1.0 - below)


def _flat(design: FloatArray) -> FloatArray:
    return design.reshape(-1, design.shape[-1])
