"""Likelihood of a site whose state is not seen, for any list of states.

A site is in one of several states (empty; occupied, in one class of detection or another; with so
many animals), each with its own chance of what was heard. The states depend on linear predictors:
that of occupancy, those of detection, one a visit, and single numbers. The likelihood is the sum
over the states; gradient and Hessian come from the states' own by their chances given the history.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from surveys.trends.models.occupancy_likelihood import OccupancyCells
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.numerics.optimize import Objective

# Cells for which the curvature is worked out at a time, to keep memory in bounds.
_AT_ONCE = 4096


@dataclass(frozen=True, kw_only=True)
class States:
    """S states of G cells at P predictors: log-chance of the state and its history (G, S), its
    derivatives by the predictors (G, S, P), and the second ones averaged with weights (G, S) to
    (G, P, P)."""

    logs: FloatArray
    scores: FloatArray
    mean_curvature: Callable[[FloatArray], FloatArray]


# Of cells at the logit of occupancy (G,), the logits of detection (G, J) and the single numbers
# (E,). Predictors come in that order: P = 1 + J + E.
StateModel = Callable[[OccupancyCells, FloatArray, FloatArray, FloatArray], States]


@dataclass(frozen=True, kw_only=True)
class _At:
    value: FloatArray
    chances: FloatArray
    states: States


def mixture_objective(cells: OccupancyCells, model: StateModel, numbers: int) -> Objective:
    """Value, gradient and Hessian of a model with so many single numbers beside the coefficients
    of occupancy and detection, which come first."""

    def value_gradient(theta: FloatArray) -> tuple[float, FloatArray]:
        at = _evaluate(cells, model, theta)
        return float(cells.weight @ at.value), cells.weight @ _scores(cells, at)

    def hessian(theta: FloatArray) -> FloatArray:
        size = len(theta)
        matrix = np.zeros((size, size))
        for first in range(0, len(cells.weight), _AT_ONCE):
            some = _part(cells, slice(first, first + _AT_ONCE))
            at = _evaluate(some, model, theta)
            pulled = np.einsum("gs,gsp->gp", at.chances, at.states.scores)
            curvature = at.states.mean_curvature(at.chances)
            curvature += np.einsum(
                "gs,gsp,gsq->gpq", at.chances, at.states.scores, at.states.scores
            )
            curvature -= pulled[:, :, None] * pulled[:, None, :]
            curvature *= some.weight[:, None, None]
            design = _predictor_design(some, numbers)
            matrix += np.tensordot(design, curvature @ design, axes=([0, 1], [0, 1]))
        return matrix

    return Objective(value_gradient=value_gradient, hessian=hessian)


def mixture_scores(cells: OccupancyCells, model: StateModel, theta: FloatArray) -> FloatArray:
    """Derivative of each cell's log-likelihood, (G, K), for one row of the cell."""
    return _scores(cells, _evaluate(cells, model, theta))


def _evaluate(cells: OccupancyCells, model: StateModel, theta: FloatArray) -> _At:
    k, m = cells.psi_design.shape[-1], cells.p_design.shape[-1]
    states = model(
        cells, cells.psi_design @ theta[:k], cells.p_design @ theta[k : k + m], theta[k + m :]
    )
    highest = states.logs.max(axis=1, keepdims=True)
    weights = np.exp(states.logs - highest)
    total = weights.sum(axis=1, keepdims=True)
    return _At(value=(highest + np.log(total))[:, 0], chances=weights / total, states=states)


def _scores(cells: OccupancyCells, at: _At) -> FloatArray:
    pulled = np.einsum("gs,gsp->gp", at.chances, at.states.scores)
    visits = cells.trials.shape[1]
    by_visit = pulled[:, None, 1 : 1 + visits] @ cells.p_design
    return np.hstack([pulled[:, :1] * cells.psi_design, by_visit[:, 0, :], pulled[:, 1 + visits :]])


def _predictor_design(cells: OccupancyCells, numbers: int) -> FloatArray:
    """Predictors by coefficients, (G, P, K)."""
    count, visits = cells.trials.shape
    k, m = cells.psi_design.shape[1], cells.p_design.shape[-1]
    design = np.zeros((count, 1 + visits + numbers, k + m + numbers))
    design[:, 0, :k] = cells.psi_design
    design[:, 1 : 1 + visits, k : k + m] = cells.p_design
    for number in range(numbers):
        design[:, 1 + visits + number, k + m + number] = 1.0
    return design


def _part(cells: OccupancyCells, some: slice) -> OccupancyCells:
    return OccupancyCells(
        detections=cells.detections[some],
        trials=cells.trials[some],
        psi_design=cells.psi_design[some],
        p_design=cells.p_design[some],
        weight=cells.weight[some],
        group=cells.group[:0],
    )
