"""Likelihood of occupancy where some of what was heard is false, its gradient and its Hessian.

Miller et al. 2011, Ecology 92:1422-1428. At an occupied site a visit hears the species with chance
p11, and such a detection is certain with chance b if it was checked; at an empty site it is heard
by mistake with chance p10, never certainly. What was not checked says nothing of b, so it does not
matter why it was not, as long as that depends on what was heard alone (Rubin 1976, Biometrika
63:581-592, from memory). Without certain detections this is the mixture of Royle & Link 2006,
Ecology 87:835-841; with p10 = 0 it is the model of MacKenzie et al. 2002.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray
from surveys.trends.numerics.grouping import group_rows
from surveys.trends.numerics.optimize import Objective


@dataclass(frozen=True, kw_only=True)
class FalsePositiveCells:
    """G distinct rows; where nothing differs between visits they are added up, and J is 1.

    ``heard``, ``certain``, ``checked``, ``confirmed`` (certain and checked) and ``trials`` are
    (G, J), ``psi_design`` (G, k), the designs of p11, p10 and b (G, J, columns), ``false_offset``
    (G, J) is added to the logit of p10. Where b has no columns the share of certain detections is
    left out of the likelihood. ``weight`` (G,) counts rows, ``group`` (rows,) leads from the rows
    to their cell.
    """

    heard: FloatArray
    certain: FloatArray
    checked: FloatArray
    confirmed: FloatArray
    trials: FloatArray
    psi_design: FloatArray
    p_design: FloatArray
    false_design: FloatArray
    false_offset: FloatArray
    certain_design: FloatArray
    weight: FloatArray
    group: IntArray

    @property
    def sizes(self) -> tuple[int, int, int, int]:
        """Numbers of coefficients of psi, p11, p10 and b."""
        designs = (self.psi_design, self.p_design, self.false_design, self.certain_design)
        psi, p, false, certain = (design.shape[-1] for design in designs)
        return psi, p, false, certain


@dataclass(frozen=True, kw_only=True)
class _Evaluation:
    """At some coefficients: log-likelihoods, the chance of being occupied given the history, and
    the chances psi (G,), p11, p10 and b (G, J)."""

    log_likelihoods: FloatArray
    occupied: FloatArray
    psi: FloatArray
    p: FloatArray
    false: FloatArray
    certain: FloatArray


def false_positive_cells(
    heard: FloatArray,
    certain: BoolArray,
    *,
    checked: BoolArray | None = None,
    psi_design: FloatArray,
    p_design: FloatArray,
    false_design: FloatArray,
    false_offset: FloatArray,
    certain_design: FloatArray,
) -> FalsePositiveCells:
    """Group histories (rows, visits) of 0, 1 and NaN, their certain detections and designs.

    Without ``checked`` (rows, visits), every detection was checked. A certain detection that was
    not checked proves its site occupied, no more.
    Designs of p11, p10 and b are (rows, columns) or (rows, visits, columns); ``false_offset`` is
    (rows,) or (rows, visits).
    """
    seen = ~np.isnan(heard)
    detected = heard == 1
    again = detected if checked is None else detected & checked
    marks = (detected, certain & seen, again, certain & again, seen)
    counts = [mark.astype(np.float64) for mark in marks]
    designs = [p_design, false_design, certain_design]
    if all(design.ndim == 2 for design in designs) and false_offset.ndim == 1:
        counts = [count.sum(axis=1, keepdims=True) for count in counts]
        designs = [design[:, None, :] for design in designs]
        offset = false_offset[:, None]
    else:
        designs = [_by_visit(design, seen) for design in designs]
        offset = false_offset[:, None] if false_offset.ndim == 1 else false_offset
        offset = np.where(seen, offset, 0.0)
    blocks = [*counts, psi_design, *designs, offset]
    first, group = group_rows(*blocks)
    heard_by, sure, again_by, confirmed, trials, psi, p, false, by_certain, offset = (
        block[first] for block in blocks
    )
    return FalsePositiveCells(
        heard=heard_by,
        certain=sure,
        checked=again_by,
        confirmed=confirmed,
        trials=trials,
        psi_design=psi,
        p_design=p,
        false_design=false,
        false_offset=offset,
        certain_design=by_certain,
        weight=np.bincount(group, minlength=len(first)).astype(np.float64),
        group=group,
    )


def cell_scores(cells: FalsePositiveCells, theta: FloatArray) -> FloatArray:
    """Derivative of each cell's log-likelihood, (G, K), for one row of the cell."""
    at = _evaluate(cells, theta)
    occupied, empty = at.occupied[:, None], 1 - at.occupied[:, None]
    by_p, by_false, by_certain = _derivatives(cells, at)
    return np.hstack(
        [
            (at.occupied - at.psi)[:, None] * cells.psi_design,
            occupied * by_p,
            empty * by_false,
            occupied * by_certain,
        ]
    )


def occupied_given_history(cells: FalsePositiveCells, theta: FloatArray) -> FloatArray:
    """Chance that the rows of each cell were occupied, given what was heard there, (G,)."""
    return _evaluate(cells, theta).occupied


def objective(cells: FalsePositiveCells) -> Objective:
    """Value, gradient and Hessian for the search."""

    def value_gradient(theta: FloatArray) -> tuple[float, FloatArray]:
        value = float(cells.weight @ _evaluate(cells, theta).log_likelihoods)
        return value, cells.weight @ cell_scores(cells, theta)

    return Objective(value_gradient=value_gradient, hessian=lambda theta: _hessian(cells, theta))


def _hessian(cells: FalsePositiveCells, theta: FloatArray) -> FloatArray:
    """The two states' own curvatures by their chances, and what not knowing the state adds."""
    at = _evaluate(cells, theta)
    by_p, by_false, by_certain = _derivatives(cells, at)
    apart = np.hstack([cells.psi_design, by_p, -by_false, by_certain])
    unsure = cells.weight * at.occupied * (1 - at.occupied)
    matrix: FloatArray = apart.T @ (unsure[:, None] * apart)
    occupied, empty = cells.weight * at.occupied, cells.weight * (1 - at.occupied)
    parts = (
        (cells.psi_design, cells.weight * at.psi * (1 - at.psi)),
        (cells.p_design, occupied[:, None] * cells.trials * at.p * (1 - at.p)),
        (cells.false_design, empty[:, None] * cells.trials * at.false * (1 - at.false)),
        (cells.certain_design, occupied[:, None] * cells.checked * at.certain * (1 - at.certain)),
    )
    begin = 0
    for design, spread in parts:
        flat = design.reshape(int(np.prod(design.shape[:-1])), design.shape[-1])
        end = begin + flat.shape[1]
        matrix[begin:end, begin:end] -= flat.T @ (spread.ravel()[:, None] * flat)
        begin = end
    return matrix


def _derivatives(
    cells: FalsePositiveCells, at: _Evaluation
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Derivatives (G, columns) by the coefficients of p11 and b if occupied, of p10 if empty."""
    return (
        _over_visits(cells.heard - cells.trials * at.p, cells.p_design),
        _over_visits(cells.heard - cells.trials * at.false, cells.false_design),
        _over_visits(cells.confirmed - cells.checked * at.certain, cells.certain_design),
    )


def _evaluate(cells: FalsePositiveCells, theta: FloatArray) -> _Evaluation:
    psi_size, p_size, false_size, _ = cells.sizes
    ends = np.cumsum([psi_size, p_size, false_size])
    of_psi, of_p, of_false, of_certain = np.split(theta, ends)
    psi_logit = cells.psi_design @ of_psi
    p_logit = cells.p_design @ of_p
    false_logit = cells.false_design @ of_false + cells.false_offset
    certain_logit = cells.certain_design @ of_certain
    soft_psi = np.logaddexp(0.0, psi_logit)
    if_occupied = psi_logit - soft_psi + _bernoulli(cells.heard, cells.trials, p_logit)
    if len(of_certain):
        if_occupied = if_occupied + _bernoulli(cells.confirmed, cells.checked, certain_logit)
    if_empty = -soft_psi + _bernoulli(cells.heard, cells.trials, false_logit)
    if_empty = np.where(cells.certain.any(axis=1), -np.inf, if_empty)
    log_likelihoods = np.logaddexp(if_occupied, if_empty)
    return _Evaluation(
        log_likelihoods=log_likelihoods,
        occupied=np.exp(if_occupied - log_likelihoods),
        psi=expit(psi_logit),
        p=expit(p_logit),
        false=expit(false_logit),
        certain=expit(certain_logit),
    )


def _bernoulli(hits: FloatArray, trials: FloatArray, logit: FloatArray) -> FloatArray:
    """Log-chance (G,) of so many hits in so many trials, in their order. A logit of minus infinity
    is a chance of 0."""
    with np.errstate(invalid="ignore"):
        of_hits = np.where(hits > 0, hits * logit, 0.0)
    total: FloatArray = (of_hits - trials * np.logaddexp(0.0, logit)).sum(axis=1)
    return total


def _over_visits(residual: FloatArray, design: FloatArray) -> FloatArray:
    summed: FloatArray = (residual[:, None, :] @ design)[:, 0, :]
    return summed


def _by_visit(design: FloatArray, seen: BoolArray) -> FloatArray:
    """A covariate of a visit that did not happen must not keep rows apart, nor be NaN."""
    wide = design if design.ndim == 3 else np.repeat(design[:, None, :], seen.shape[1], axis=1)
    return np.where(seen[:, :, None], wide, 0.0)
