"""Likelihood of the call-index model and its gradient.

Royle 2004, Conservation Biology 18:1378-1385, and Royle & Link 2005, Ecology 86:2505-2512: a site
has a latent highest index z of the season; a visit hears an index y no higher than z. Both are
ordered classes. The state has thresholds and covariates; each z above 0 has its own thresholds for
y, and detection covariates shift them together. Gradient by Fisher's identity.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surveys.trends.numerics.arrays import FloatArray, IntArray
from surveys.trends.numerics.grouping import group_rows
from surveys.trends.numerics.optimize import ValueGradient
from surveys.trends.numerics.ordinal import ClassChances, class_chances, thresholds_of


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
    first = cells.thresholds
    middle = first + cells.state.shape[1]
    of_state, *observed = threshold_slices(cells.top)
    states, jacobian = _classes(theta[of_state], cells.state @ theta[first:middle])
    shift = (cells.detection @ theta[middle:]).ravel()
    seen = [_classes(theta[part], shift) for part in observed]

    joint = states.log.copy()
    for z in range(cells.top + 1):
        joint[:, z] += _log_chance(cells, z, seen[z - 1][0].log if z else None)
    value = np.logaddexp.reduce(joint, axis=1)
    # Thresholds that ran together leave a row impossible: minus infinity, no place to go.
    with np.errstate(invalid="ignore"):
        posterior = np.exp(joint - value[:, None])

    scores = np.zeros((len(value), len(theta)))
    scores[:, of_state] = np.einsum("gz,gzk->gk", posterior, states.by_threshold) @ jacobian
    scores[:, first:middle] = (posterior * states.by_shift).sum(axis=1)[:, None] * cells.state
    pull = np.zeros(cells.counts.shape[:2])
    for z, (part, (chances, jacobian)) in enumerate(zip(observed, seen, strict=True), start=1):
        counts = cells.counts[:, :, : z + 1]
        by_threshold = chances.by_threshold.reshape(*counts.shape, z)
        by_shift = chances.by_shift.reshape(counts.shape)
        weighted = posterior[:, z, None, None] * counts
        scores[:, part] = np.einsum("gjk,gjkt->gt", weighted, by_threshold) @ jacobian
        pull += (weighted * by_shift).sum(axis=2)
    scores[:, middle:] = np.einsum("gj,gjd->gd", pull, cells.detection)
    return value, scores


def state_shares(
    cells: IndexCells, theta: FloatArray, rows: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean chance of each state (S,) over cells weighted by ``rows`` (G,), gradient (S, K)."""
    first = cells.thresholds
    middle = first + cells.state.shape[1]
    of_state = threshold_slices(cells.top)[0]
    states, jacobian = _classes(theta[of_state], cells.state @ theta[first:middle])
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
        table[z, : z + 1] = np.exp(_classes(theta[part], np.zeros(1))[0].log[0])
    return table


def all_thresholds(cells: IndexCells, theta: FloatArray) -> FloatArray:
    """Every threshold and free number, to see whether one ran off."""
    thresholds = [thresholds_of(theta[part])[0] for part in threshold_slices(cells.top)]
    return np.concatenate([theta[: cells.thresholds], *thresholds])


def _classes(free: FloatArray, shift: FloatArray) -> tuple[ClassChances, FloatArray]:
    thresholds, jacobian = thresholds_of(free)
    return class_chances(thresholds, shift), jacobian


def _log_chance(cells: IndexCells, z: int, log: FloatArray | None) -> FloatArray:
    """Log chance of each cell's indices given state z; minus infinity above z."""
    above = cells.counts[:, :, z + 1 :].any(axis=(1, 2))
    total = np.zeros(len(cells.weight))
    if log is not None:
        counts = cells.counts[:, :, : z + 1]
        by_visit = np.where(counts > 0, counts * log.reshape(counts.shape), 0.0)
        total = by_visit.sum(axis=(1, 2))
    return np.where(above, -np.inf, total)
