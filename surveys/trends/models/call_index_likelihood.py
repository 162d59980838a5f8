"""Likelihood of the call-index model, its gradient and its Hessian.

Royle 2004, Conservation Biology 18:1378-1385, and Royle & Link 2005, Ecology 86:2505-2512: a site
has a latent highest index z of the season; a visit hears an index y no higher than z. Both are
ordered classes. The state has thresholds and covariates; each z above 0 has its own thresholds for
y, and detection covariates shift them together. Gradient by Fisher's identity, Hessian by Louis
1982, JRSS B 44:226-233.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from surveys.trends.numerics.arrays import FloatArray, IntArray
from surveys.trends.numerics.grouping import group_rows
from surveys.trends.numerics.optimize import ValueGradient
from surveys.trends.numerics.ordinal import (
    ClassChances,
    class_chances,
    class_curvature,
    thresholds_of,
)


def threshold_slices(top: int) -> list[slice]:
    """Where the free numbers stand among the parameters, for classes 0 to ``top``.

    First the ``top`` thresholds of the state, then z thresholds of the index heard at state z.
    """
    starts = [0, *(top + z * (z - 1) // 2 for z in range(1, top + 1))]
    widths = [top, *range(1, top + 1)]
    return [slice(start, start + width) for start, width in zip(starts, widths, strict=True)]


@dataclass(frozen=True, kw_only=True)
class IndexCells:
    """G distinct rows; ``counts`` (G, J, top + 1) says how often each index was heard at visit j.

    ``state`` is (G, a) and ``detection`` (G, J, b), both without an intercept.
    """

    counts: FloatArray
    state: FloatArray
    detection: FloatArray
    weight: FloatArray
    group: IntArray

    @cached_property
    def distinct_states(self) -> tuple[FloatArray, IntArray]:
        """Distinct rows of ``state``, and which of them each cell has."""
        return _distinct(self.state)

    @cached_property
    def distinct_visits(self) -> tuple[FloatArray, IntArray]:
        """Distinct rows of ``detection``, and which of them each cell and visit has (G J,)."""
        return _distinct(self.detection.reshape(self.counts[:, :, 0].size, -1))

    @property
    def top(self) -> int:
        """Highest class."""
        return int(self.counts.shape[2]) - 1

    @property
    def thresholds(self) -> int:
        """How many free numbers stand before the coefficients."""
        return self.top + self.top * (self.top + 1) // 2


def index_cells(
    index: FloatArray, state: FloatArray, detection: FloatArray, *, top: int = 3
) -> IndexCells:
    """Group rows of call indices (rows, visits) of 0 to ``top`` and NaN with their designs."""
    counts = (index[:, :, None] == np.arange(top + 1)).astype(np.float64)
    if detection.ndim == 2:
        counts, detection = counts.sum(axis=1, keepdims=True), detection[:, None, :]
    detection = np.where(counts.any(axis=2)[:, :, None], detection, 0.0)
    first, group = group_rows(counts, state, detection)
    return IndexCells(
        counts=counts[first],
        state=state[first],
        detection=detection[first],
        weight=np.bincount(group, minlength=len(first)).astype(np.float64),
        group=group,
    )


def value_gradient(cells: IndexCells) -> ValueGradient:
    """Log-likelihood and gradient as a function of the free numbers and the coefficients."""

    def evaluate(theta: FloatArray) -> tuple[float, FloatArray]:
        value, scores = cell_scores(cells, theta)
        return float(cells.weight @ value), cells.weight @ scores

    return evaluate


def cell_scores(cells: IndexCells, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Log-likelihood of one row of each cell (G,), and its derivative (G, K)."""
    at = _evaluate(cells, theta)
    mean = sum(
        (
            chance[:, None] * scores
            for chance, scores in zip(at.posterior.T, at.scores, strict=True)
        ),
        np.zeros((len(at.value), len(theta))),
    )
    return at.value, mean @ at.jacobian


def hessian(cells: IndexCells, theta: FloatArray) -> FloatArray:
    """Second derivatives of the log-likelihood (K, K)."""
    at = _evaluate(cells, theta)
    first = cells.thresholds
    middle = first + cells.state.shape[1]
    of_state, *observed = threshold_slices(cells.top)
    weights = cells.weight[:, None] * at.posterior
    matrix = np.zeros((len(theta), len(theta)))
    mean = np.zeros((len(at.value), len(theta)))
    for weight, chance, scores in zip(weights.T, at.posterior.T, at.scores, strict=True):
        matrix += (scores * weight[:, None]).T @ scores
        mean += chance[:, None] * scores
    matrix -= (mean * cells.weight[:, None]).T @ mean
    distinct, of_cell = cells.distinct_states
    curvature = class_curvature(thresholds_of(theta[of_state])[0], distinct @ theta[first:middle])
    by_state = np.einsum("gz,gzpq->gpq", weights, curvature[of_cell])
    _add_curvature(matrix, of_state, slice(first, middle), by_state, cells.state)
    distinct, of_visit = cells.distinct_visits
    flat = cells.detection.reshape(len(of_visit), -1)
    for z, part in enumerate(observed, start=1):
        curvature = class_curvature(thresholds_of(theta[part])[0], distinct @ theta[middle:])
        counts = (weights[:, z, None, None] * cells.counts[:, :, : z + 1]).reshape(-1, z + 1)
        by_visit = np.einsum("vk,vkpq->vpq", counts, curvature[of_visit])
        _add_curvature(matrix, part, slice(middle, len(theta)), by_visit, flat)
    bent = (cells.weight @ mean) @ at.jacobian
    matrix = at.jacobian.T @ matrix @ at.jacobian
    # A log step bends all thresholds above it, and a first threshold none.
    steps = np.array(
        [k for part in (of_state, *observed) for k in range(part.start + 1, part.stop)]
    )
    if len(steps):
        matrix[steps, steps] += bent[steps]
    return matrix


def _add_curvature(
    matrix: FloatArray, part: slice, columns: slice, curvature: FloatArray, design: FloatArray
) -> None:
    """Add second derivatives (N, m + 1, m + 1) by thresholds and shift, whose design is (N, b)."""
    crossed = curvature[:, :-1, -1].T @ design
    matrix[part, part] += curvature[:, :-1, :-1].sum(axis=0)
    matrix[part, columns] += crossed
    matrix[columns, part] += crossed.T
    matrix[columns, columns] += design.T @ (curvature[:, -1, -1, None] * design)


@dataclass(frozen=True, kw_only=True)
class _Evaluation:
    """Log-likelihoods (G,), the chance of each state given what was heard (G, S), and the scores of
    the states (S, G, K) by thresholds and coefficients; ``jacobian`` (K, K) leads to thresholds
    from the free numbers."""

    value: FloatArray
    posterior: FloatArray
    scores: FloatArray
    jacobian: FloatArray


def _evaluate(cells: IndexCells, theta: FloatArray) -> _Evaluation:
    first = cells.thresholds
    middle = first + cells.state.shape[1]
    of_state, *observed = threshold_slices(cells.top)
    jacobian = np.eye(len(theta))
    states, jacobian[of_state, of_state] = _classes(
        theta[of_state], cells.distinct_states, theta[first:middle]
    )
    joint = states.log.copy()
    joint[:, 0] += _log_chance(cells, 0, None)
    scores = np.zeros((cells.top + 1, len(joint), len(theta)))
    scores[:, :, of_state] = states.by_threshold.swapaxes(0, 1)
    scores[:, :, first:middle] = states.by_shift.T[:, :, None] * cells.state
    for z, part in enumerate(observed, start=1):
        chances, jacobian[part, part] = _classes(theta[part], cells.distinct_visits, theta[middle:])
        joint[:, z] += _log_chance(cells, z, chances.log)
        counts = cells.counts[:, :, : z + 1]
        by_threshold = chances.by_threshold.reshape(*counts.shape, z)
        pull = (counts * chances.by_shift.reshape(counts.shape)).sum(axis=2)
        scores[z, :, part] = np.einsum("gjk,gjkt->gt", counts, by_threshold)
        scores[z, :, middle:] = np.einsum("gj,gjd->gd", pull, cells.detection)
    value = np.logaddexp.reduce(joint, axis=1)
    # Thresholds that ran together leave a row impossible: minus infinity, no place to go.
    with np.errstate(invalid="ignore"):
        posterior = np.exp(joint - value[:, None])
    return _Evaluation(value=value, posterior=posterior, scores=scores, jacobian=jacobian)


def state_shares(
    cells: IndexCells, theta: FloatArray, rows: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean chance of each state (S,) over cells weighted by ``rows`` (G,), gradient (S, K)."""
    first = cells.thresholds
    middle = first + cells.state.shape[1]
    of_state = threshold_slices(cells.top)[0]
    states, jacobian = _classes(theta[of_state], cells.distinct_states, theta[first:middle])
    chances = np.exp(states.log) * (rows / rows.sum())[:, None]
    gradient = np.zeros((cells.top + 1, len(theta)))
    gradient[:, of_state] = np.einsum("gz,gzk->zk", chances, states.by_threshold) @ jacobian
    gradient[:, first:middle] = (chances * states.by_shift).T @ cells.state
    return chances.sum(axis=0), gradient


def observation_table(theta: FloatArray, *, top: int = 3) -> FloatArray:
    """Chance of hearing index y (column) at a site of state z (row), at zero covariates."""
    table = np.zeros((top + 1, top + 1))
    table[0, 0] = 1.0
    for z, part in enumerate(threshold_slices(top)[1:], start=1):
        thresholds, _ = thresholds_of(theta[part])
        table[z, : z + 1] = np.exp(class_chances(thresholds, np.zeros(1)).log[0])
    return table


def all_thresholds(cells: IndexCells, theta: FloatArray) -> FloatArray:
    """Every threshold and free number, to see whether one ran off."""
    thresholds = [thresholds_of(theta[part])[0] for part in threshold_slices(cells.top)]
    return np.concatenate([theta[: cells.thresholds], *thresholds])


def _classes(
    free: FloatArray, rows: tuple[FloatArray, IntArray], coefficients: FloatArray
) -> tuple[ClassChances, FloatArray]:
    """Chances for every entry of the second of ``rows``, worked out once for each of the first."""
    thresholds, jacobian = thresholds_of(free)
    distinct, at = rows
    chances = class_chances(thresholds, distinct @ coefficients)
    return ClassChances(
        log=chances.log[at],
        by_threshold=chances.by_threshold[at],
        by_shift=chances.by_shift[at],
    ), jacobian


def _distinct(rows: FloatArray) -> tuple[FloatArray, IntArray]:
    if not rows.shape[1]:
        return rows[:1], np.zeros(len(rows), dtype=np.int64)
    first, at = group_rows(rows)
    return rows[first], at


def _log_chance(cells: IndexCells, z: int, log: FloatArray | None) -> FloatArray:
    """Log chance of each cell's indices given state z; minus infinity above z."""
    above = cells.counts[:, :, z + 1 :].any(axis=(1, 2))
    total = np.zeros(len(cells.weight))
    if log is not None:
        counts = cells.counts[:, :, : z + 1]
        by_visit = np.where(counts > 0, counts * log.reshape(counts.shape), 0.0)
        total = by_visit.sum(axis=(1, 2))
    return np.where(above, -np.inf, total)
