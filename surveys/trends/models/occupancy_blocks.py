"""The cells of an occupancy likelihood in blocks that fit into a processor's cache.

Passes over a whole program wait for memory; so each block is worked out in full before the next.
In large programs cells of one block are alike: all of them were heard and surely occupied, or none.
Columns that are zero throughout a block, as those of other years, are left out of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np

from surveys.trends.numerics.arrays import FloatArray, IntArray

# Numbers of one array of a block: 64 kB, of which some ten are in use at a time.
MOST_NUMBERS = 8_192
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

    def evaluate(self, theta: FloatArray) -> BlockState:
        """The block at the coefficients of all blocks."""
        psi_logit, p_logit = self.predictors(theta)
        soft_psi, psi, psi_spread = soft_and_chance(psi_logit)
        soft_p, p, p_spread = soft_and_chance(p_logit)
        # log p = logit - log(1 + e^logit) and log(1 - p) = -log(1 + e^logit) keep their digits at
        # both ends.
        p_logit *= self.heard
        soft_p *= self.trials
        p_logit -= soft_p
        if_occupied = p_logit.sum(axis=0)
        if_occupied += psi_logit
        if_occupied -= soft_psi
        occupied: FloatArray | float = 1.0
        log_likelihoods = if_occupied
        if self.if_empty is not None:
            if_empty = self.if_empty - soft_psi
            apart = if_occupied - if_empty
            _, occupied, _ = soft_and_chance(apart)
            log_likelihoods = np.maximum(if_occupied, if_empty) + np.log1p(np.exp(-np.abs(apart)))
        p *= self.trials
        p_spread *= self.trials
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
    if 0 < cells.trials.size <= MOST_NUMBERS:
        return (_block(cells, psi, p, np.arange(len(cells.weight)), False),)
    sure = np.isneginf(cells.if_empty)
    most = max(MOST_NUMBERS // cells.trials.shape[1], 1)
    made: list[Block] = []
    for kind in _kinds(psi, p) if cells.level is None else _by_code(cells.level):
        for rows, surely in ((kind[sure[kind]], True), (kind[~sure[kind]], False)):
            made += [
                _block(cells, psi, p, rows[first : first + most], surely)
                for first in range(0, len(rows), most)
            ]
    return tuple(made)


def _kinds(psi: FloatArray, p: FloatArray) -> Iterator[IntArray]:
    """Cells by which columns of their designs are zero; all of them together where that is little
    use."""
    every = np.arange(psi.shape[1])
    used = np.concatenate([psi != 0, (p != 0).any(axis=1)])
    if len(used) <= _FEW_COLUMNS or not len(every):
        return iter([every])
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
