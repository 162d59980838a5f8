"""Likelihood of the single-season occupancy model, its gradient and its Hessian.

MacKenzie et al. 2002, Ecology 83:2248-2255. A site is occupied with chance psi for the whole
season and then heard at visit j with chance p_j; an empty site is never heard. Rows that are the
same are counted once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from surveys.trends.models.occupancy_blocks import Block, BlockState, Cells, blocks_of
from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray
from surveys.trends.numerics.design import linear
from surveys.trends.numerics.grouping import group_rows
from surveys.trends.numerics.optimize import Objective
from surveys.trends.numerics.sandwich import cluster_scores


@dataclass(frozen=True, kw_only=True)
class OccupancyCells:
    """G distinct rows. Where nothing differs between visits they are added up, and J is 1.

    ``detections`` and ``trials`` are (G, J), ``psi_design`` (G, k), ``p_design`` (G, J, m),
    ``weight`` (G,) counts rows, ``group`` (rows,) leads from the rows to their cell. A visit to an
    empty site hears the species with chance ``false_rate``. The first coefficients of p may be
    levels of a factor, without columns in ``p_design``: ``level`` (G,) says which a cell has, and
    ``levels`` (L,) how much each counts.
    """

    detections: FloatArray
    trials: FloatArray
    psi_design: FloatArray
    p_design: FloatArray
    weight: FloatArray
    group: IntArray
    false_rate: float = 0.0
    levels: FloatArray = field(default_factory=lambda: np.zeros(0))
    level: IntArray | None = None

    @cached_property
    def silent(self) -> BoolArray:
        """Cells in which the species was never heard, (G,)."""
        return np.asarray(~self.detections.any(axis=1), dtype=np.bool_)

    @cached_property
    def blocks(self) -> tuple[Block, ...]:
        """The cells as they are worked out."""
        return blocks_of(
            Cells(
                detections=self.detections,
                trials=self.trials,
                psi_design=self.psi_design,
                p_design=self.p_design,
                weight=self.weight,
                if_empty=self.if_empty,
                levels=self.levels,
                level=self.level,
            )
        )

    def p_logit(self, theta: FloatArray) -> FloatArray:
        """Logit of p (G, J) at coefficients of psi, then of p."""
        first = self.psi_design.shape[1]
        begin = first + len(self.levels)
        logit = linear(self.p_design, theta[begin:])
        if self.level is None:
            return logit
        return logit + (theta[first:begin] * self.levels)[self.level][:, None]

    @property
    def if_empty(self) -> FloatArray:
        """Log-chance of what was heard at an empty site (G,)."""
        if not self.false_rate:
            return np.where(self.silent, 0.0, -np.inf)
        heard, listened = self.detections.sum(axis=1), self.trials.sum(axis=1)
        chances: FloatArray = heard * np.log(self.false_rate)
        chances += (listened - heard) * np.log1p(-self.false_rate)
        return chances


def occupancy_cells(
    detections: FloatArray,
    psi_design: FloatArray,
    p_design: FloatArray,
    *,
    levels: FloatArray | None = None,
    level: IntArray | None = None,
    clean: bool = False,
) -> OccupancyCells:
    """Group detection histories (rows, visits) of 0, 1 and NaN with their design rows; ``levels``
    (L,) and ``level`` (rows,) as in ``OccupancyCells``. A ``clean`` design holds no NaN."""
    seen = ~np.isnan(detections)
    heard = np.where(seen, detections, 0.0)
    trials = seen.astype(np.float64)
    if p_design.ndim == 2:
        heard, trials = heard.sum(axis=1, keepdims=True), trials.sum(axis=1, keepdims=True)
        p_design = p_design[:, None, :]
    elif not clean and not seen.all():
        # A covariate of a visit that did not happen must not keep rows apart, nor be NaN.
        p_design = np.where(np.ascontiguousarray(seen.T), p_design.T, 0.0).T
    of_level = () if level is None else (level.astype(np.float64)[:, None],)
    first, group = group_rows(heard, trials, psi_design, p_design, *of_level)
    if len(first) < len(group):
        heard, trials, psi_design = heard[first], trials[first], psi_design[first]
        p_design, level = p_design[first], None if level is None else level[first]
    return OccupancyCells(
        detections=heard,
        trials=trials,
        psi_design=psi_design,
        p_design=p_design,
        weight=np.bincount(group).astype(np.float64),
        group=group,
        levels=np.zeros(0) if levels is None else levels,
        level=level,
    )


def log_likelihood(cells: OccupancyCells, theta: FloatArray) -> float:
    """Log-likelihood at ``theta``: coefficients of psi, then of p, on the logit scale."""
    return sum(
        float(block.weight @ block.evaluate(theta).log_likelihoods) for block in cells.blocks
    )


def cell_scores(cells: OccupancyCells, theta: FloatArray) -> FloatArray:
    """Derivative of each cell's log-likelihood, (G, K), for one row of the cell."""
    scores = np.zeros((len(theta), len(cells.weight)))
    for block in cells.blocks:
        scores[np.ix_(block.columns, block.at)] = block.scores(block.evaluate(theta))
    return scores.T


def row_scores(cells: OccupancyCells, theta: FloatArray) -> FloatArray:
    """Derivative of each row's log-likelihood, (rows, K)."""
    scores = cell_scores(cells, theta)
    return scores if len(scores) == len(cells.group) else scores[cells.group]


def clustered_scores(cells: OccupancyCells, theta: FloatArray, cluster: IntArray) -> FloatArray:
    """Scores of the rows summed within each cluster (C, K); ``cluster`` (rows,) is of the rows."""
    if len(cells.weight) < len(cells.group):
        return cluster_scores(row_scores(cells, theta), cluster)
    summed = np.zeros((int(cluster.max(initial=-1)) + 1, len(theta)))
    for block in cells.blocks:
        clusters, own = np.unique(cluster[block.at], return_inverse=True)
        scores = block.scores(block.evaluate(theta))
        summed[np.ix_(clusters, block.columns)] += cluster_scores(scores.T, own)
    return summed


def occupied_given_history(cells: OccupancyCells, theta: FloatArray) -> FloatArray:
    """Chance that the rows of each cell were occupied, given what was heard there, (G,)."""
    occupied = np.empty(len(cells.weight))
    for block in cells.blocks:
        occupied[block.at] = block.evaluate(theta).occupied
    return occupied


def objective(cells: OccupancyCells) -> Objective:
    """Value, gradient and Hessian for the search."""
    return objective_of(cells.blocks)


def objective_of(blocks: Sequence[Block]) -> Objective:
    """The same of cells that are in blocks already."""
    latest: list[tuple[FloatArray, list[BlockState]]] = []

    def value_gradient(theta: FloatArray) -> tuple[float, FloatArray]:
        value, gradient, states = 0.0, np.zeros(len(theta)), []
        for block in blocks:
            # The gradient follows at once, while the block is still in the processor's cache.
            state = block.evaluate(theta)
            value += float(block.weight @ state.log_likelihoods)
            gradient[block.columns] += block.gradient(state)
            states.append(state)
        latest[:] = [(theta, states)]
        return value, gradient

    def hessian(theta: FloatArray) -> FloatArray:
        # It is asked for at the point whose gradient was just computed.
        known = latest and latest[0][0] is theta
        states = latest[0][1] if known else [block.evaluate(theta) for block in blocks]
        matrix = np.zeros((len(theta), len(theta)))
        for block, state in zip(blocks, states, strict=True):
            matrix[block.columns[:, None], block.columns] += block.hessian(state)
        return matrix

    return Objective(value_gradient=value_gradient, hessian=hessian)
