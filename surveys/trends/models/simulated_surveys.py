"""Simulated surveys of a fitted occupancy model, laid out once and drawn many times.

A history is a number: bit j says whether visit j heard the species; with very many visits it is one
of Python's integers, which have no end. Rows that share their design
and their missing visits are one unit, as long as detection does not differ between visits; only
the counts of histories then change from one survey to the next.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import expit

from surveys.trends.models.occupancy import OccupancyFit
from surveys.trends.models.occupancy_blocks import Block, rows_of_blocks
from surveys.trends.models.occupancy_likelihood import OccupancyCells
from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray
from surveys.trends.numerics.grouping import group_rows

# Codes below this are counted in a list of all of them, which is quicker.
_MOST_COUNTED = 1 << 20
# The other bits are left for the number of a cohort.
_MOST_BITS = 40


@dataclass(frozen=True, kw_only=True)
class SurveyFrame:
    """``unit`` (rows,) is the unit of each row, ``silent`` every unit once with nothing heard;
    ``seen`` (U, visits) says which visits happened. ``cohorts`` are units with the same missing
    visits."""

    unit: IntArray
    size: IntArray
    silent: OccupancyCells
    seen: BoolArray
    cohorts: tuple[IntArray, ...]

    @property
    def visits_alike(self) -> bool:
        return bool(self.silent.p_design.shape[1] == 1 < self.seen.shape[1])

    def chances(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Occupancy (U,) and detection (U, visits), 0 where nobody listened."""
        psi_design = self.silent.psi_design
        with np.errstate(over="ignore"):
            p = 1 / (1 + np.exp(-self.silent.p_logit(theta)))
        psi: FloatArray = expit(psi_design @ theta[: psi_design.shape[1]])
        return psi, np.where(self.seen, p, 0.0)

    def coded(self, history: FloatArray) -> IntArray:
        """Histories (rows, visits) as numbers (rows,)."""
        codes: IntArray = (np.nan_to_num(history) > 0) @ _bits(history.shape[1])
        return codes

    def simulated(self, psi: FloatArray, p: FloatArray, rng: np.random.Generator) -> IntArray:
        """Histories drawn at these chances of the units, as numbers (rows,)."""
        occupied = rng.random(len(self.unit)) < psi[self.unit]
        of_rows = p[self.unit] if len(p) < len(self.unit) else p
        heard = rng.random(of_rows.shape) < of_rows
        codes: IntArray = np.where(occupied, heard @ _bits(p.shape[1]), 0)
        return codes

    def blocks(self, codes: IntArray) -> tuple[Block, ...]:
        """The cells of a likelihood for these histories."""
        visits = self.seen.shape[1]
        if not self.visits_alike:
            # Every row is a unit of its own here.
            heard = ((codes >> np.arange(visits)[:, None]) & 1).astype(np.float64)
            if_empty = np.where(codes > 0, -np.inf, 0.0)
            return tuple(
                replace(block, heard=heard[:, block.at], if_empty=if_empty[block.at])
                for block in self.silent.blocks
            )
        times = ((codes[:, None] >> np.arange(visits)) & 1).sum(axis=1).astype(np.int64)
        width = visits + 1
        count = np.bincount(self.unit * width + times, minlength=len(self.size) * width)
        filled = np.flatnonzero(count)
        unit = filled // width
        return replace(
            self.silent,
            detections=(filled % width)[:, None].astype(np.float64),
            trials=self.silent.trials[unit],
            psi_design=self.silent.psi_design[unit],
            p_design=self.silent.p_design[unit],
            weight=count[filled].astype(np.float64),
            group=np.arange(len(filled)),
            level=None if self.silent.level is None else self.silent.level[unit],
        ).blocks

    @cached_property
    def silent_blocks(self) -> tuple[Block, ...]:
        """Every unit once with nothing heard."""
        if self.silent.layout is None:
            return self.silent.blocks
        return tuple(
            replace(block, heard=np.zeros_like(block.heard), if_empty=np.zeros(len(block.at)))
            for block in self.silent.blocks
        )

    def luck(self, surveys: int, rng: np.random.Generator) -> FloatArray:
        """Numbers between 0 and 1 (S, U), the same however the units are laid out."""
        luck = np.empty((surveys, len(self.size)))
        for rows, _ in rows_of_blocks(self.silent.to_cut):
            luck[:, rows] = rng.random((surveys, len(rows)))
        return luck

    @cached_property
    def cohort_of(self) -> IntArray:
        """Which cohort each row belongs to (rows,)."""
        of_unit = np.empty(len(self.size), dtype=np.int64)
        for number, units in enumerate(self.cohorts):
            of_unit[units] = number
        return of_unit[self.unit]


def survey_frame(fit: OccupancyFit) -> SurveyFrame:
    """The layout of a fit's histories."""
    cells = fit.cells
    seen = ~np.isnan(fit.history)
    psi_design, p_design, level = cells.psi_design, cells.p_design, cells.level
    if len(cells.weight) < len(cells.group):
        psi_design, p_design = psi_design[cells.group], p_design[cells.group]
        level = None if level is None else level[cells.group]
    trials = seen.astype(np.float64)
    first: IntArray | slice = slice(None)
    if p_design.shape[1] == 1:
        of_level = () if level is None else (level.astype(np.float64)[:, None],)
        first, unit = group_rows(trials, psi_design, p_design, *of_level)
        trials = trials.sum(axis=1, keepdims=True)
    else:
        unit = np.arange(len(seen))
    pattern = seen[first] @ _bits(seen.shape[1])
    patterns, cohort = np.unique(pattern, return_inverse=True)
    silent = OccupancyCells(
        detections=np.zeros(trials[first].shape),
        trials=trials[first],
        psi_design=psi_design[first],
        p_design=p_design[first],
        weight=np.ones(len(pattern)),
        group=np.arange(len(pattern)),
        levels=cells.levels,
        level=None if level is None else level[first],
        layout=cells.layout,
        places=cells.places,
    )
    return SurveyFrame(
        unit=unit,
        size=np.bincount(unit, minlength=len(pattern)),
        silent=silent,
        seen=seen[first],
        cohorts=tuple(np.flatnonzero(cohort.ravel() == code) for code in range(len(patterns))),
    )


def _bits(visits: int) -> IntArray:
    """What each visit adds to the number of a history (visits,)."""
    bits = [1 << visit for visit in range(visits)]
    # From here on the number of a cohort before that of a history might not fit into 64 bits.
    return np.array(bits, dtype=np.int64 if visits <= _MOST_BITS else np.object_)


def pearson_of(frame: SurveyFrame, codes: IntArray, theta: FloatArray) -> float:
    """Pearson's X2 of histories against the model at ``theta``; see ``goodness_of_fit``."""
    psi, p = frame.chances(theta)
    width = 1 << frame.seen.shape[1]
    keys, counts = _counted(frame.cohort_of.astype(codes.dtype) * width + codes)
    total = 0.0
    for number, units in enumerate(frame.cohorts):
        of_cohort = keys // width == number
        expected = _expected(keys[of_cohort] % width, psi[units], p[units], frame.size[units])
        total += float(((counts[of_cohort] - expected) ** 2 / expected).sum())
        total += max(float(frame.size[units].sum() - expected.sum()), 0.0)
    return total


def _counted(codes: IntArray) -> tuple[IntArray, IntArray]:
    """The codes that occur, in their order, and how often each does."""
    if codes.max(initial=0) >= _MOST_COUNTED:
        # A list of all codes would not fit into memory: 30 visits have a thousand million.
        return np.unique(codes, return_counts=True)
    found = np.bincount(codes)
    keys = np.flatnonzero(found)
    return keys, found[keys]


def _expected(codes: IntArray, psi: FloatArray, p: FloatArray, size: IntArray) -> FloatArray:
    """Expected number of rows with each history (H,), over units of ``size`` rows."""
    visits = p.T.copy()
    # Chance of the visits so far, for each way in which one of the histories begins.
    begun = {0: size * psi}
    for visit, chance in enumerate(visits):
        heard, missed, longer = 1 << visit, 1 - chance, {}
        for code in {int(code) & (2 * heard - 1) for code in codes}:
            longer[code] = begun[code & (heard - 1)] * (chance if code & heard else missed)
        begun = longer
    expected: FloatArray = np.array([float(begun[int(code)].sum()) for code in codes])
    expected += (codes == 0) * float(size @ (1 - psi))
    return expected
