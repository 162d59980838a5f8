"""Likelihood of the single-season occupancy model, its gradient and its Hessian.

MacKenzie et al. 2002, Ecology 83:2248-2255. A site is occupied with chance psi for the whole
season and then heard at visit j with chance p_j; an empty site is never heard. Rows that are the
same are counted once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from surveys.trends.models.occupancy_blocks import (
    Block,
    Cells,
    blocks_of,
    chance_if_empty,
    shared_blocks,
)
from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray
from surveys.trends.numerics.design import linear
from surveys.trends.numerics.grouping import group_rows
from surveys.trends.numerics.optimize import Objective
from surveys.trends.numerics.sandwich import cluster_scores
from surveys.trends.numerics.visit_layout import VisitLayout


@dataclass(frozen=True, kw_only=True)
class OccupancyCells:
    """G distinct rows. Where nothing differs between visits they are added up, and J is 1.

    ``detections`` and ``trials`` are (G, J), ``psi_design`` (G, k), ``p_design`` (G, J, m),
    ``weight`` (G,) counts rows, ``group`` (rows,) leads from the rows to their cell. A visit to an
    empty site hears the species with chance ``false_rate``. The first coefficients of p may be
    levels of a factor, without columns in ``p_design``: ``level`` (G,) says which a cell has, and
    ``levels`` (L,) how much each counts. With a ``layout`` every row is a cell, and the columns of
    p are its ``places``, the intercept included.
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
    layout: VisitLayout | None = None
    places: IntArray | None = None

    @cached_property
    def silent(self) -> BoolArray:
        """Cells in which the species was never heard, (G,)."""
        return np.asarray(~self.detections.any(axis=1), dtype=np.bool_)

    @cached_property
    def blocks(self) -> tuple[Block, ...]:
        """The cells as they are worked out."""
        if self.layout is not None and self.places is not None:
            return shared_blocks(
                self.layout,
                self.places,
                self.psi_design,
                levels=self.levels,
                level=self.level,
                false_rate=self.false_rate,
            )
        return blocks_of(self.to_cut)

    @property
    def to_cut(self) -> Cells:
        """What is cut into blocks."""
        return Cells(
            detections=self.detections,
            trials=self.trials,
            psi_design=self.psi_design,
            p_design=self.p_design,
            weight=self.weight,
            if_empty=self.if_empty,
            levels=self.levels,
            level=self.level,
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
        return chance_if_empty(heard, listened, self.false_rate)

    @cached_property
    def kinds(self) -> int:
        """How many of the cells differ."""
        if self.layout is None:
            return len(self.weight)
        of_level = () if self.level is None else (self.level.astype(np.float64)[:, None],)
        designs = (self.psi_design, self.p_design, *of_level)
        return len(group_rows(self.detections, self.trials, *designs)[0])

    def largest_logit(self, theta: FloatArray) -> float:
        """Of psi or of p at a visit that happened, without its sign."""
        largest = 0.0
        for block in self.blocks:
            psi_logit, p_logit = block.predictors(theta)
            p_logit *= block.trials > 0
            largest = max(largest, float(np.abs(psi_logit).max()), float(np.abs(p_logit).max()))
        return largest


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


def cells_of_layout(
    layout: VisitLayout,
    places: IntArray,
    psi_design: FloatArray,
    p_design: FloatArray,
    *,
    levels: FloatArray,
    level: IntArray | None,
) -> OccupancyCells:
    """The rows of a layout, none of them counted together; ``places`` without the intercept where
    there are levels."""
    rows = len(psi_design)
    return OccupancyCells(
        detections=layout.heard,
        trials=layout.trials,
        psi_design=psi_design,
        p_design=p_design,
        weight=np.ones(rows),
        group=np.arange(rows),
        levels=levels,
        level=level,
        layout=layout,
        places=places if level is None else np.r_[0, places],
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
        scores[np.ix_(block.columns, block.at)] = block.scores(block.state_at(theta))
    return scores.T


def row_scores(cells: OccupancyCells, theta: FloatArray) -> FloatArray:
    """Derivative of each row's log-likelihood, (rows, K)."""
    scores = cell_scores(cells, theta)
    return scores if len(scores) == len(cells.group) else scores[cells.group]


def clustered_scores(cells: OccupancyCells, theta: FloatArray, cluster: IntArray) -> FloatArray:
    """Scores of the rows summed within each cluster (C, K); ``cluster`` (rows,) is of the rows."""
    if len(cells.weight) < len(cells.group):
        return cluster_scores(row_scores(cells, theta), cluster)
    return scores_of_clusters(block_scores(cells.blocks, theta), cluster, len(theta))


def block_scores(
    blocks: Sequence[Block], theta: FloatArray
) -> Iterator[tuple[Block, IntArray, FloatArray]]:
    """Each block, the numbers of its coefficients (k,), and the scores of its cells (k, g)."""
    for block in blocks:
        yield block, block.columns, block.scores(block.state_at(theta))


def scores_of_clusters(
    parts: Iterable[tuple[Block, IntArray, FloatArray]], cluster: IntArray, size: int
) -> FloatArray:
    """Scores (k, g) of blocks by so many of their columns (k,), summed within clusters (C, size);
    ``cluster`` (rows,) is of all rows."""
    summed = np.zeros((int(cluster.max(initial=-1)) + 1, size))
    for block, columns, scores in parts:
        own = cluster[block.at]
        step = np.diff(own)
        if (step < 0).any():
            order = np.argsort(own, kind="stable")
            own, scores = own[order], scores[:, order]
            step = np.diff(own)
        begins = np.r_[0, 1 + np.flatnonzero(step)]
        summed[own[begins][:, None], columns] += np.add.reduceat(scores, begins, axis=1).T
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

    def value_gradient(theta: FloatArray) -> tuple[float, FloatArray]:
        value, gradient = 0.0, np.zeros(len(theta))
        for block in blocks:
            # The gradient follows at once, while the block is still in the processor's cache.
            state = block.state_at(theta)
            value += float(block.weight @ state.log_likelihoods)
            gradient[block.columns] += block.gradient(state)
        return value, gradient

    def hessian(theta: FloatArray) -> FloatArray:
        matrix = np.zeros((len(theta), len(theta)))
        for block in blocks:
            own = block.hessian(block.state_at(theta))
            matrix[block.columns[:, None], block.columns] += own
        return matrix

    return Objective(value_gradient=value_gradient, hessian=hessian)
