"""Simulated surveys of a fitted occupancy model, laid out once and drawn many times.

A history is a number: bit j says whether visit j heard the species. Rows that share their design
and their missing visits are one unit, as long as detection does not differ between visits; only
the counts of histories then change from one survey to the next.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from surveys.trends.models.occupancy import OccupancyFit
from surveys.trends.models.occupancy_likelihood import OccupancyCells
from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray
from surveys.trends.numerics.grouping import group_rows


@dataclass(frozen=True, kw_only=True)
class SurveyFrame:
    """``unit`` (rows,) is the unit of each row. ``psi_design`` (U, k) and ``p_design`` (U, J, m)
    are on the scale of the search, J being 1 where visits are alike; ``seen`` (U, visits) says
    which visits happened. ``cohorts`` are units with the same missing visits."""

    unit: IntArray
    size: IntArray
    psi_design: FloatArray
    p_design: FloatArray
    seen: BoolArray
    cohorts: tuple[IntArray, ...]

    @property
    def visits_alike(self) -> bool:
        return bool(self.p_design.shape[1] == 1 < self.seen.shape[1])

    def chances(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Occupancy (U,) and detection (U, visits), 0 where nobody listened."""
        k = self.psi_design.shape[1]
        p = expit(self.p_design @ theta[k:])
        return expit(self.psi_design @ theta[:k]), np.where(self.seen, p, 0.0)

    def coded(self, history: FloatArray) -> IntArray:
        """Histories (rows, visits) as numbers (rows,)."""
        bits = 1 << np.arange(history.shape[1])
        codes: IntArray = (np.nan_to_num(history) > 0) @ bits
        return codes

    def simulated(self, theta: FloatArray, rng: np.random.Generator) -> IntArray:
        """Histories drawn from the model, as numbers (rows,)."""
        psi, p = self.chances(theta)
        occupied = rng.random(len(self.unit)) < psi[self.unit]
        heard = rng.random((len(self.unit), p.shape[1])) < p[self.unit]
        codes: IntArray = np.where(occupied, heard @ (1 << np.arange(p.shape[1])), 0)
        return codes

    def cells(self, codes: IntArray) -> OccupancyCells:
        """The cells of a likelihood for these histories."""
        visits = self.seen.shape[1]
        heard = ((codes[:, None] >> np.arange(visits)) & 1).astype(np.float64)
        if not self.visits_alike:
            # Every row is a unit of its own here.
            return OccupancyCells(
                detections=heard,
                trials=self.seen.astype(np.float64),
                psi_design=self.psi_design,
                p_design=self.p_design,
                weight=np.ones(len(codes)),
                group=np.arange(len(codes)),
            )
        times = heard.sum(axis=1).astype(np.int64)
        width = visits + 1
        count = np.bincount(self.unit * width + times, minlength=len(self.size) * width)
        filled = np.flatnonzero(count)
        unit = filled // width
        return OccupancyCells(
            detections=(filled % width)[:, None].astype(np.float64),
            trials=self.seen[unit].sum(axis=1, keepdims=True).astype(np.float64),
            psi_design=self.psi_design[unit],
            p_design=self.p_design[unit],
            weight=count[filled].astype(np.float64),
            group=np.arange(len(filled)),
        )


def survey_frame(fit: OccupancyFit) -> SurveyFrame:
    """The layout of a fit's histories."""
    cells = fit.cells
    seen = ~np.isnan(fit.history)
    psi_design, p_design = cells.psi_design[cells.group], cells.p_design[cells.group]
    if p_design.shape[1] == 1:
        first, unit = group_rows(seen.astype(np.float64), psi_design, p_design)
    else:
        first = unit = np.arange(len(seen))
    patterns, cohort = np.unique(seen[first], axis=0, return_inverse=True)
    return SurveyFrame(
        unit=unit,
        size=np.bincount(unit, minlength=len(first)),
        psi_design=psi_design[first],
        p_design=p_design[first],
        seen=seen[first],
        cohorts=tuple(np.flatnonzero(cohort.ravel() == code) for code in range(len(patterns))),
    )


def pearson_of(frame: SurveyFrame, codes: IntArray, theta: FloatArray) -> float:
    """Pearson's X2 of histories against the model at ``theta``; see ``goodness_of_fit``."""
    psi, p = frame.chances(theta)
    cohort_of = np.empty(len(frame.size), dtype=np.int64)
    for number, units in enumerate(frame.cohorts):
        cohort_of[units] = number
    width = 1 << frame.seen.shape[1]
    keys, counts = np.unique(cohort_of[frame.unit] * width + codes, return_counts=True)
    total = 0.0
    for number, units in enumerate(frame.cohorts):
        of_cohort = keys // width == number
        expected = _expected(keys[of_cohort] % width, psi[units], p[units], frame.size[units])
        total += float(((counts[of_cohort] - expected) ** 2 / expected).sum())
        total += max(float(frame.size[units].sum() - expected.sum()), 0.0)
    return total


def _expected(codes: IntArray, psi: FloatArray, p: FloatArray, size: IntArray) -> FloatArray:
    """Expected number of rows with each history (H,), over units of ``size`` rows."""
    heard = np.ones((len(psi), len(codes)))
    for visit in range(p.shape[1]):
        chance = p[:, visit, None]
        heard *= np.where((codes >> visit) & 1, chance, 1 - chance)
    expected: FloatArray = (size * psi) @ heard + (codes == 0) * float(size @ (1 - psi))
    return expected
