"""Likelihood of a site whose state is not seen, for any list of states.

A site is in one of several states (empty; occupied, in one class of detection or another; with so
many animals), each with its own chance of what was heard. The states depend on linear predictors:
that of occupancy, those of detection, one a visit, and single numbers. The likelihood is the sum
over the states; gradient and Hessian come from the states' own by their chances given the history.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np

from surveys.trends.models.occupancy_blocks import Block
from surveys.trends.models.occupancy_likelihood import OccupancyCells
from surveys.trends.numerics.arrays import FloatArray, IntArray
from surveys.trends.numerics.optimize import Objective


@dataclass(frozen=True, kw_only=True)
class Predicted:
    """Of g cells at P predictors: log-likelihoods (g,), their derivatives (P, g), and the Hessian
    of the block by its coefficients and the single numbers (k, k)."""

    value: FloatArray
    slope: FloatArray
    hessian: Callable[[], FloatArray]


@dataclass(frozen=True, kw_only=True)
class Curved:
    """The same with the second derivatives by the predictors (P, P, g)."""

    value: FloatArray
    slope: FloatArray
    curvature: Callable[[], FloatArray]

    def of_block(self, block: Block) -> Predicted:
        return Predicted(
            value=self.value,
            slope=self.slope,
            hessian=lambda: _hessian(block, block.weight * self.curvature()),
        )


# Of a block of cells at the logits of occupancy (g,), the logits of detection (J, g) and the single
# numbers (E,). Predictors come in that order: P = 1 + J + E.
StateModel = Callable[[Block, FloatArray, FloatArray, FloatArray], Predicted]


def summed(
    logs: FloatArray, scores: FloatArray, mean_curvature: Callable[[FloatArray], FloatArray]
) -> Curved:
    """The sum over S states, from the log-chance of each with its history (S, g), its derivatives
    (S, P, g), and the second ones averaged with weights (S, g) to (P, P, g)."""
    highest = logs.max(axis=0)
    chances = np.exp(logs - highest)
    total = chances.sum(axis=0)
    chances /= total
    slope = np.einsum("sg,spg->pg", chances, scores)

    def curvature() -> FloatArray:
        matrix = mean_curvature(chances)
        matrix += np.einsum("spg,sqg->pqg", chances[:, None] * scores, scores)
        matrix -= slope[:, None] * slope
        return matrix

    return Curved(value=highest + np.log(total), slope=slope, curvature=curvature)


def mixture_objective(cells: OccupancyCells, model: StateModel, numbers: int) -> Objective:
    """Value, gradient and Hessian of a model with so many single numbers beside the coefficients
    of occupancy and detection, which come first."""
    return mixture_objective_of(cells.blocks, model, numbers)


def mixture_objective_of(blocks: Sequence[Block], model: StateModel, numbers: int) -> Objective:
    """The same of cells that are in blocks already."""
    latest: list[tuple[FloatArray, list[Predicted]]] = []

    def evaluate(theta: FloatArray) -> list[Predicted]:
        # The Hessian is asked for at the point whose gradient was just computed.
        if not latest or latest[0][0] is not theta:
            latest[:] = [(theta, [_evaluate(b, model, theta, numbers) for b in blocks])]
        return latest[0][1]

    def value_gradient(theta: FloatArray) -> tuple[float, FloatArray]:
        value, gradient = 0.0, np.zeros(len(theta))
        for block, at in zip(blocks, evaluate(theta), strict=True):
            value += float(block.weight @ at.value)
            slope = block.weight * at.slope
            gradient[_columns(block, theta, numbers)] += np.concatenate(
                [
                    block.psi @ slope[0],
                    block.flat @ slope[1 : 1 + len(block.trials)].ravel(),
                    slope[1 + len(block.trials) :].sum(axis=1),
                ]
            )
        return value, gradient

    def hessian(theta: FloatArray) -> FloatArray:
        matrix = np.zeros((len(theta), len(theta)))
        for block, at in zip(blocks, evaluate(theta), strict=True):
            columns = _columns(block, theta, numbers)
            matrix[columns[:, None], columns] += at.hessian()
        return matrix

    return Objective(value_gradient=value_gradient, hessian=hessian)


def mixture_scores(
    cells: OccupancyCells, model: StateModel, theta: FloatArray, numbers: int
) -> FloatArray:
    """Derivative of each cell's log-likelihood, (G, K), for one row of the cell."""
    scores = np.zeros((len(theta), len(cells.weight)))
    for block, columns, of_block in block_scores(cells.blocks, model, theta, numbers):
        scores[columns[:, None], block.at] = of_block
    return scores.T


def block_scores(
    blocks: Sequence[Block], model: StateModel, theta: FloatArray, numbers: int
) -> Iterator[tuple[Block, IntArray, FloatArray]]:
    """Each block, the numbers of its coefficients (k,), and the scores of its cells (k, g)."""
    for block in blocks:
        slope = _evaluate(block, model, theta, numbers).slope
        yield block, _columns(block, theta, numbers), by_coefficients(block, slope)


def _evaluate(block: Block, model: StateModel, theta: FloatArray, numbers: int) -> Predicted:
    psi_logit, p_logit = block.predictors(theta)
    return model(block, psi_logit, p_logit, theta[len(theta) - numbers :])


def _columns(block: Block, theta: FloatArray, numbers: int) -> IntArray:
    return np.concatenate([block.columns, np.arange(len(theta) - numbers, len(theta))])


def by_coefficients(block: Block, slope: FloatArray) -> FloatArray:
    """From derivatives by the predictors (..., P, g) to those by the coefficients (..., k, g)."""
    visits = len(block.trials)
    return np.concatenate(
        [
            block.psi * slope[..., :1, :],
            np.einsum("kjg,...jg->...kg", block.p, slope[..., 1 : 1 + visits, :]),
            slope[..., 1 + visits :, :],
        ],
        axis=-2,
    )


def _hessian(block: Block, curvature: FloatArray) -> FloatArray:
    """From second derivatives by the predictors (P, P, g) to those by the coefficients (k, k)."""
    a, b, visits = len(block.psi), len(block.p), len(block.trials)
    at = [slice(0, a)] + [slice(a, a + b)] * visits
    columns = [block.psi, *block.p.swapaxes(0, 1)]
    for number in range(len(curvature) - 1 - visits):
        at.append(slice(a + b + number, a + b + number + 1))
        columns.append(np.ones((1, len(block.at))))
    matrix = np.zeros((at[-1].stop, at[-1].stop))
    for p, q in combinations_with_replacement(range(len(at)), 2):
        own = (columns[p] * curvature[p, q]) @ columns[q].T
        matrix[at[p], at[q]] += own
        if p < q:
            matrix[at[q], at[p]] += own.T
    return matrix
