"""The chance of a false detection at which a given share of all detections are false."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from surveys.trends.models.occupancy import OccupancyFit
from surveys.trends.models.occupancy_likelihood import OccupancyCells, objective_of
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.numerics.optimize import Maximum, maximize

_SETTLED, _MOST_PASSES, _MOST = 1e-6, 10, 0.5


def false_rate(fit: OccupancyFit, share: float) -> float | None:
    """The chance of a false detection on a visit to an empty site at which ``share`` of all
    detections are false; None where nothing was fitted.

    How many visits were to empty sites depends on that chance, so the two are brought into line.
    """
    if fit.maximum is None or not 0 < share < 1:
        return None
    detections = float(np.nansum(fit.history))
    of_rows = (~np.isnan(fit.history)).sum(axis=1).astype(np.float64)
    visits = np.zeros(len(fit.cells.weight)) + np.bincount(fit.cells.group, weights=of_rows)
    search = _Search(fit.cells, fit.maximum, share * detections, visits)
    rate = share * detections / max(float(visits.sum()), 1.0)
    for _ in range(_MOST_PASSES):
        again = search.after(rate)
        if abs(again - rate) <= _SETTLED * rate:
            break
        # What is left shrinks by the same part from pass to pass (Aitken 1926).
        third = search.after(again)
        bend = third - 2 * again + rate
        ahead = third if bend == 0 else rate - (again - rate) ** 2 / bend
        rate = ahead if 0 < ahead < _MOST else third
    return again


class _Search:
    """From one chance of a false detection to the next: of ``wrong`` detections over the visits to
    sites that the model takes as empty with that chance. ``visits`` (G,) are those of all rows of a
    cell."""

    def __init__(
        self, cells: OccupancyCells, begin: Maximum, wrong: float, visits: FloatArray
    ) -> None:
        self._cells, self._wrong, self._visits = cells, wrong, visits
        self._blocks = replace(cells, false_rate=_SETTLED).blocks
        self._end = begin

    def after(self, rate: float) -> float:
        if_empty = replace(self._cells, false_rate=rate).if_empty
        blocks = tuple(replace(block, if_empty=if_empty[block.at]) for block in self._blocks)
        goal = objective_of(blocks)
        # From pass to pass the curvature hardly changes.
        near = maximize(goal, self._end.theta, curvature=self._end.hessian)
        self._end = near if near.converged else maximize(goal, self._end.theta)
        empty = 0.0
        for block in blocks:
            of_block = self._visits[block.at] * (1 - block.state_at(self._end.theta).occupied)
            empty += float(of_block.sum())
        return min(self._wrong / max(empty, 1.0), _MOST)
