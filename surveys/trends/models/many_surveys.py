"""Pearson's X2 of many simulated surveys at once, where visits are many.

A survey of so many visits moves the estimates so little that one step of its score finds them
again, and that the expected counts of histories follow along their slope. Both err by far less
than one survey differs from the next. All surveys are drawn block by block, while the block is in
the processor's cache.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surveys.trends.models.occupancy_blocks import Block, BlockState
from surveys.trends.models.simulated_surveys import SurveyFrame
from surveys.trends.numerics.arrays import FloatArray, IntArray
from surveys.trends.numerics.optimize import Maximum, newton_step


@dataclass(frozen=True, kw_only=True)
class ExpectedCounts:
    """Expected number of rows by cohort and history (C H,), and its slope (C H, K) by the
    coefficients."""

    counts: FloatArray
    slope: FloatArray


@dataclass(frozen=True, kw_only=True)
class _Histories:
    """The chances (H, g) of the histories of a block if its rows are occupied and this is as likely
    as it is, and the ``cohort`` of the rows (g,). What was heard at visit j is bit j."""

    occupied: FloatArray
    state: BlockState
    cohort: IntArray

    @property
    def chances(self) -> FloatArray:
        """Of the histories, whether occupied or not."""
        chances = self.occupied.copy()
        chances[0] += 1 - self.state.psi
        return chances


def simulated_statistics(
    frame: SurveyFrame, near: Maximum, *, surveys: int, rng: np.random.Generator
) -> FloatArray:
    """X2 of so many surveys that are drawn at a maximum; those that heard nothing are left out.

    Detection differs between visits, so that every row is a unit of the frame.
    """
    expected = expected_counts(frame, near.theta)
    counts = np.zeros((surveys, len(expected.counts)))
    scores = np.zeros((surveys, len(near.theta)))
    luck = frame.luck(surveys, rng)
    for block in frame.silent_blocks:
        histories = _histories(frame, block, near.theta)
        codes = _drawn(histories.chances, luck[:, block.at])
        counts += _counted(codes, histories, len(frame.cohorts))
        scores[:, block.columns] += _scores(block, histories.state, codes)
    steps = [newton_step(score, near.hessian, near.held)[0] for score in scores]
    possible = expected.counts > 0
    before = expected.counts[possible]
    moved = before + np.array(steps).reshape(scores.shape) @ expected.slope[possible].T
    # Along a straight line the counts of a history that is hardly possible could fall below zero.
    moved = np.maximum(moved, before / 2)
    statistics = ((counts[:, possible] - moved) ** 2 / moved).sum(axis=1)
    silent = np.arange(counts.shape[1]) % (1 << frame.seen.shape[1]) == 0
    return np.asarray(statistics[counts[:, ~silent].any(axis=1)])


def expected_counts(frame: SurveyFrame, theta: FloatArray) -> ExpectedCounts:
    """How many rows of each cohort have each history at these coefficients."""
    cohorts, width = len(frame.cohorts), 1 << frame.seen.shape[1]
    counts, slope = np.zeros((cohorts, width)), np.zeros((cohorts, width, len(theta)))
    for block in frame.silent_blocks:
        histories = _histories(frame, block, theta)
        for cohort in np.unique(histories.cohort).tolist():
            of_cohort = np.flatnonzero(histories.cohort == cohort)
            rows = slice(None) if len(of_cohort) == len(block.at) else of_cohort
            counts[cohort] += histories.chances[:, rows].sum(axis=1)
            slope[cohort][:, block.columns] += _slope(block, histories, rows)
    return ExpectedCounts(counts=counts.ravel(), slope=slope.reshape(-1, len(theta)))


def _slope(block: Block, histories: _Histories, rows: IntArray | slice) -> FloatArray:
    """Of the expected counts of the histories (H, k), over some rows of a block."""
    state, chances = histories.state, histories.occupied[:, rows]
    of_psi = chances * (1 - state.psi[rows])
    of_psi[0] -= state.psi_spread[rows]
    by_p = np.zeros((len(chances), len(block.p)))
    for visit, p in enumerate(state.expected):
        heard = np.arange(len(chances)) >> visit & 1
        of_p = chances * (block.trials[visit, rows] * heard[:, None] - p[rows])
        by_p += of_p @ block.p[:, visit, rows].T
    return np.concatenate([of_psi @ block.psi[:, rows].T, by_p], axis=1)


def _histories(frame: SurveyFrame, block: Block, theta: FloatArray) -> _Histories:
    state = block.evaluate(theta)
    chances = state.psi[None]
    for p in state.expected:
        # A visit that did not happen has a chance of 0 to hear anything.
        chances = np.concatenate([chances * (1 - p), chances * p])
    return _Histories(occupied=chances, state=state, cohort=frame.cohort_of[block.at])


def _drawn(chances: FloatArray, luck: FloatArray) -> IntArray:
    """Histories (S, g) at chances (H, g), of numbers (S, g) between 0 and 1."""
    codes = np.zeros(luck.shape, dtype=np.int64)
    for reached in np.cumsum(chances, axis=0)[:-1]:
        codes += luck >= reached
    return codes


def _counted(codes: IntArray, histories: _Histories, cohorts: int) -> FloatArray:
    """How many rows of each cohort have each history (S, C H)."""
    surveys, width = len(codes), len(histories.occupied)
    keys = codes + histories.cohort * width + np.arange(surveys)[:, None] * (cohorts * width)
    size = surveys * cohorts * width
    counts = np.bincount(keys.ravel(), minlength=size).reshape(surveys, cohorts * width)
    return counts.astype(np.float64)


def _scores(block: Block, state: BlockState, codes: IntArray) -> FloatArray:
    """Of the surveys by the block's own coefficients (S, k)."""
    occupied = np.where(codes > 0, 1.0, state.occupied)
    by_psi = (occupied - state.psi) @ block.psi.T
    by_p = np.zeros((len(codes), len(block.p)))
    for visit, p in enumerate(state.expected):
        by_p += ((codes >> visit & 1) - occupied * p) @ block.p[:, visit].T
    return np.concatenate([by_psi, by_p], axis=1)
