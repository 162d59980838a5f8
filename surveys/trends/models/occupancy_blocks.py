"""The cells of an occupancy likelihood in blocks that fit into a processor's cache.

Passes over a whole program wait for memory; so each block is worked out in full before the next.
In large programs cells of one block are alike: all of them were heard and surely occupied, or none.
Columns that are zero throughout a block, as those of other years, are left out of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product

import numpy as np

from surveys.trends.numerics.arrays import FloatArray, IntArray
from surveys.trends.numerics.visit_layout import MOST_NUMBERS, LaidOut, VisitLayout

# Its exponential is a number still.
_LARGEST = 700.0
# Designs with more columns are sorted by which are zero, up to so many kinds of rows.
_FEW_COLUMNS, _MOST_KINDS = 12, 64


@dataclass(frozen=True, kw_only=True)
class Cells:
    """What is cut into blocks: see ``OccupancyCells``. ``if_empty`` (G,) is the log-chance of what
    was heard at an empty site, minus infinity where that cannot be."""

    detections: FloatArray
    trials: FloatArray
    psi_design: FloatArray
    p_design: FloatArray
    weight: FloatArray
    if_empty: FloatArray
    levels: FloatArray
    level: IntArray | None


@dataclass(frozen=True, kw_only=True)
class BlockState:
    """A block at some coefficients: log-likelihoods (g,), the chance of being occupied given what
    was heard (g,), psi and its spread psi (1 - psi) (g,), expected detections (J, g) of an occupied
    site and their spread (J, g)."""

    log_likelihoods: FloatArray
    occupied: FloatArray | float
    psi: FloatArray
    psi_spread: FloatArray
    expected: FloatArray
    p_spread: FloatArray


@dataclass(frozen=True, kw_only=True)
class MissedSets:
    """For each cell the silent visits with every set of heard ones: n sets in the order of their
    cells, whose numbers are ``row`` (n,) and whose first sets ``first`` (g,). ``member`` (J, n) is
    1 for the visits of a set, ``sign`` (n,) minus where an odd number of heard ones was added."""

    row: IntArray
    first: IntArray
    sign: FloatArray
    member: FloatArray

    def of_cells(self, values: FloatArray) -> FloatArray:
        """Sums (m, g) over the sets of each cell."""
        if len(self.row) == len(self.first):
            return values
        return np.asarray(np.add.reduceat(values, self.first, axis=1))


@dataclass(frozen=True, kw_only=True)
class Block:
    """g cells: ``at`` (g,) says which, ``columns`` (k,) which coefficients they use, those of psi
    first. ``psi`` is (a, g), ``p`` (b, J, g), ``heard`` and ``trials`` (J, g)."""

    at: IntArray
    columns: IntArray
    psi: FloatArray
    p: FloatArray
    heard: FloatArray
    trials: FloatArray
    weight: FloatArray
    if_empty: FloatArray | None
    _latest: list[tuple[bytes, BlockState]] = field(
        default_factory=list, init=False, repr=False, compare=False
    )

    @cached_property
    def all_listened(self) -> bool:
        """Whether each visit happened, and is one."""
        return bool((self.trials == 1).all())

    @cached_property
    def all_silent(self) -> bool:
        """Whether no visit heard the species."""
        return not self.heard.any()

    @cached_property
    def flat(self) -> FloatArray:
        """``p`` as (b, J g)."""
        return self.p.reshape(len(self.p), self.trials.size)

    @cached_property
    def missed_sets(self) -> MissedSets:
        """The sets of visits on which an animal was missed, where each visit is heard or not."""
        silent = self.trials - self.heard
        rows, members, signs = [], [], []
        for chosen in product((False, True), repeat=len(silent)):
            added = np.array(chosen)
            at = np.flatnonzero((self.heard[added] > 0).all(axis=0))
            rows.append(at)
            members.append(np.where(added[:, None], 1.0, silent[:, at]))
            signs.append(np.full(len(at), (-1.0) ** int(added.sum())))
        row = np.concatenate(rows)
        order = np.argsort(row, kind="stable")
        return MissedSets(
            row=row[order],
            first=np.searchsorted(row[order], np.arange(silent.shape[1])),
            sign=np.concatenate(signs)[order],
            member=np.concatenate(members, axis=1)[:, order],
        )

    def predictors(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Logits of psi (g,) and of p (J, g) at the coefficients of all blocks."""
        own = theta[self.columns]
        of_psi, of_p = own[: len(self.psi)], own[len(self.psi) :]
        return of_psi @ self.psi, (of_p @ self.flat).reshape(self.trials.shape)

    def state_at(self, theta: FloatArray) -> BlockState:
        """The block at the coefficients of all blocks. The latest state is kept: Hessian and scores
        are asked for where the gradient was."""
        own = theta[self.columns].tobytes()
        if not self._latest or self._latest[0][0] != own:
            self._latest[:] = [(own, self.evaluate(theta))]
        return self._latest[0][1]

    def evaluate(self, theta: FloatArray) -> BlockState:
        """The same, worked out again."""
        psi_logit, p_logit = self.predictors(theta)
        soft_psi, psi, psi_spread = soft_and_chance(psi_logit)
        soft_p, p, p_spread = quick_soft_and_chance(p_logit)
        if not self.all_listened:
            for values in (soft_p, p, p_spread):
                values *= self.trials
        # log p = logit - log(1 + e^logit) and log(1 - p) = -log(1 + e^logit).
        if self.all_silent:
            if_occupied = psi_logit - soft_p.sum(axis=0)
        else:
            p_logit *= self.heard
            p_logit -= soft_p
            if_occupied = psi_logit + p_logit.sum(axis=0)
        if_occupied -= soft_psi
        occupied: FloatArray | float = 1.0
        log_likelihoods = if_occupied
        if self.if_empty is not None:
            if_empty = self.if_empty - soft_psi
            apart = if_occupied - if_empty
            _, occupied, _ = soft_and_chance(apart)
            log_likelihoods = np.maximum(if_occupied, if_empty) + np.log1p(np.exp(-np.abs(apart)))
        return BlockState(
            log_likelihoods=log_likelihoods,
            occupied=occupied,
            psi=psi,
            psi_spread=psi_spread,
            expected=p,
            p_spread=p_spread,
        )

    def gradient(self, state: BlockState) -> FloatArray:
        """Of the block's log-likelihood by its own coefficients (k,)."""
        residual = (self.heard - state.expected) * (self.weight * state.occupied)
        return np.concatenate(
            [
                self.psi @ (self.weight * (state.occupied - state.psi)),
                self.flat @ residual.ravel(),
            ]
        )

    def scores(self, state: BlockState) -> FloatArray:
        """Derivative of one row of each cell by the block's own coefficients (k, g)."""
        return np.concatenate(
            [(state.occupied - state.psi) * self.psi, state.occupied * self._pull(state)]
        )

    def hessian(self, state: BlockState) -> FloatArray:
        """Of the block's log-likelihood by its own coefficients (k, k)."""
        a = len(self.psi)
        matrix = np.zeros((len(self.columns), len(self.columns)))
        if self.if_empty is not None:
            pull = np.concatenate([self.psi, self._pull(state)])
            matrix += (pull * (self.weight * state.occupied * (1 - state.occupied))) @ pull.T
        matrix[:a, :a] -= (self.psi * (self.weight * state.psi_spread)) @ self.psi.T
        spread = (state.p_spread * (self.weight * state.occupied)).ravel()
        matrix[a:, a:] -= (self.flat * spread) @ self.flat.T
        return matrix

    def _pull(self, state: BlockState) -> FloatArray:
        """Derivative of the log-chance of what was heard if occupied, by coefficients of p."""
        pull: FloatArray = np.einsum("kjg,jg->kg", self.p, self.heard - state.expected)
        return pull


def blocks_of(cells: Cells) -> tuple[Block, ...]:
    """The cells in blocks."""
    psi, p = cells.psi_design.T, cells.p_design.transpose(2, 1, 0)
    return tuple(_block(cells, psi, p, rows, surely) for rows, surely in rows_of_blocks(cells))


def rows_of_blocks(cells: Cells) -> list[tuple[IntArray, bool]]:
    """The cells of each block, and whether all of them are surely occupied."""
    psi, p = cells.psi_design.T, cells.p_design.transpose(2, 1, 0)
    if 0 < cells.trials.size <= MOST_NUMBERS:
        return [(np.arange(len(cells.weight)), False)]
    sure = np.isneginf(cells.if_empty)
    most = max(MOST_NUMBERS // cells.trials.shape[1], 1)
    made: list[tuple[IntArray, bool]] = []
    for kind in _kinds(psi, p) if cells.level is None else _by_code(cells.level):
        for rows, surely in ((kind[sure[kind]], True), (kind[~sure[kind]], False)):
            made += [(rows[first : first + most], surely) for first in range(0, len(rows), most)]
    return made


def _kinds(psi: FloatArray, p: FloatArray) -> Iterator[IntArray]:
    """Cells by which columns of their designs are zero; all of them together where that is little
    use."""
    every = np.arange(psi.shape[1])
    if len(psi) + len(p) <= _FEW_COLUMNS or not len(every):
        return iter([every])
    used = np.concatenate([psi != 0, (p != 0).any(axis=1)])
    packed = np.ascontiguousarray(np.packbits(used, axis=0).T)
    _, kind = np.unique(packed.view(f"V{packed.shape[1]}").ravel(), return_inverse=True)
    return _by_code(kind) if kind.max() < _MOST_KINDS else iter([every])


def _by_code(code: IntArray) -> Iterator[IntArray]:
    """Positions with the same code."""
    ends = np.cumsum(np.bincount(code))[:-1]
    return iter(np.split(np.argsort(code, kind="stable"), ends))


def _block(cells: Cells, psi: FloatArray, p: FloatArray, rows: IntArray, sure: bool) -> Block:
    own_psi, own_p = np.take(psi, rows, axis=1), np.take(p, rows, axis=2)
    used_psi = np.asarray(own_psi.any(axis=1))
    used_p = np.asarray(own_p.any(axis=(1, 2)))
    own_p = own_p if used_p.all() else own_p[used_p]
    used_levels = np.zeros(len(cells.levels), dtype=np.bool_)
    if cells.level is not None:
        level = cells.level[rows]
        used_levels[level] = True
        codes = np.flatnonzero(used_levels)
        values = (level == codes[:, None]) * cells.levels[codes, None]
        wide = np.broadcast_to(values[:, None, :], (len(codes), *own_p.shape[1:]))
        own_p = np.concatenate([wide, own_p])
    return Block(
        at=rows,
        columns=np.flatnonzero(np.concatenate([used_psi, used_levels, used_p])),
        psi=own_psi if used_psi.all() else own_psi[used_psi],
        p=own_p,
        heard=np.ascontiguousarray(cells.detections[rows].T),
        trials=np.ascontiguousarray(cells.trials[rows].T),
        weight=cells.weight[rows],
        if_empty=None if sure else cells.if_empty[rows],
    )


def shared_blocks(
    layout: VisitLayout,
    places: IntArray,
    psi_design: FloatArray,
    *,
    levels: FloatArray,
    level: IntArray | None = None,
    psi_level: IntArray | None = None,
    false_rate: float = 0.0,
) -> tuple[Block, ...]:
    """Blocks of a layout for one model of its rows.

    ``places`` are the columns of p there, beginning with the intercept, which ``levels`` (L,) and
    ``level`` (rows,), as in ``OccupancyCells``, take the place of. Coefficients are those of the
    levels of psi that ``psi_level`` (rows,) numbers, of ``psi_design`` (rows, k), and of p.
    """
    first = 0 if psi_level is None else int(psi_level.max()) + 1
    before_p = first + psi_design.shape[1]
    made = []
    for laid, own_psi in zip(layout.blocks, layout.parts(psi_design), strict=True):
        of_psi = np.arange(first, before_p)
        if psi_level is not None:
            codes, marks = _marks(psi_level[laid.at])
            own_psi, of_psi = np.concatenate([marks, own_psi]), np.concatenate([codes, of_psi])
        p, of_p = laid.picked(places), np.arange(len(places))
        if level is not None:
            codes, marks = _marks(level[laid.at])
            wide = (marks * levels[codes, None])[:, None] * p[:1]
            p = np.concatenate([wide, p[1:]])
            of_p = np.concatenate([codes, len(levels) + np.arange(len(places) - 1)])
        made.append(
            Block(
                at=laid.at,
                columns=np.concatenate([of_psi, before_p + of_p]),
                psi=own_psi,
                p=p,
                heard=laid.heard,
                trials=laid.trials,
                weight=np.ones(len(laid.at)),
                if_empty=_if_empty(laid, false_rate),
            )
        )
    return tuple(made)


def _marks(level: IntArray) -> tuple[IntArray, FloatArray]:
    """The levels of some rows in order (L,), and 1 where a row has one of them (L, g)."""
    if (level == level[0]).all():
        return level[:1], np.ones((1, len(level)))
    codes = np.unique(level)
    return codes, (level == codes[:, None]).astype(np.float64)


def _if_empty(laid: LaidOut, false_rate: float) -> FloatArray | None:
    if false_rate:
        return chance_if_empty(laid.heard.sum(axis=0), laid.trials.sum(axis=0), false_rate)
    return np.zeros(len(laid.at)) if laid.silent else None


def chance_if_empty(heard: FloatArray, listened: FloatArray, false_rate: float) -> FloatArray:
    """Log-chance of what was heard on the visits to an empty site, all false (g,)."""
    chances: FloatArray = heard * np.log(false_rate)
    chances += (listened - heard) * np.log1p(-false_rate)
    return chances


def quick_soft_and_chance(logit: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The same in fewer passes. Where the first is nearly 0 it is right to 1e-14, which is too
    little only for its logarithm."""
    large = np.negative(logit)
    np.exp(np.minimum(large, _LARGEST, out=large), out=large)
    above = 1.0 + large
    soft = np.log(above)
    soft += logit
    chance = np.divide(1.0, above, out=above)
    large *= chance
    large *= chance
    return soft, chance, large


def soft_and_chance(logit: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """log(1 + e^x), the chance e^x / (1 + e^x) and chance times its complement, from one
    exponential that never overflows."""
    small = np.abs(logit)
    np.exp(np.negative(small, out=small), out=small)
    soft = np.log1p(small)
    soft += np.maximum(logit, 0.0)
    above = 1.0 + small
    np.divide(1.0, above, out=above)
    # Without a choice by sign, which a processor cannot foresee: e^x / (1 + e^x) where x < 0.
    chance = np.maximum(small, logit >= 0.0)
    chance *= above
    small *= above
    small *= above
    return soft, chance, small
