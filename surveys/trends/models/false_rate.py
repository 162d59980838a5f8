"""The chance of a false detection at which a given share of all detections are false."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from surveys.trends.models.occupancy import OccupancyFit
from surveys.trends.models.occupancy_likelihood import objective_of
from surveys.trends.numerics.optimize import maximize

_SETTLED, _MOST_PASSES = 1e-4, 20


def false_rate(fit: OccupancyFit, share: float) -> float | None:
    """The chance of a false detection on a visit to an empty site at which ``share`` of all
    detections are false; None where nothing was fitted.

    How many visits were to empty sites depends on that chance, so the two are brought into line.
    """
    if fit.maximum is None or not 0 < share < 1:
        return None
    detections = float(np.nansum(fit.history))
    visits = (~np.isnan(fit.history)).sum(axis=1).astype(np.float64)
    end = fit.maximum
    rate = share * detections / max(float(visits.sum()), 1.0)
    blocks = replace(fit.cells, false_rate=rate).blocks
    occupied = np.empty(len(fit.cells.weight))
    for _ in range(_MOST_PASSES):
        if_empty = replace(fit.cells, false_rate=rate).if_empty
        blocks = tuple(replace(block, if_empty=if_empty[block.at]) for block in blocks)
        end = maximize(objective_of(blocks), end.theta)
        for block in blocks:
            occupied[block.at] = block.evaluate(end.theta).occupied
        empty = 1 - occupied[fit.cells.group]
        before = rate
        rate = min(share * detections / max(float(empty @ visits), 1.0), 0.5)
        if abs(rate - before) <= _SETTLED * before:
            break
    return rate
