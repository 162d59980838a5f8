"""The chance of a false detection at which a given share of all detections are false."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from surveys.trends.models.occupancy import OccupancyFit
from surveys.trends.models.occupancy_likelihood import objective, occupied_given_history
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
    for _ in range(_MOST_PASSES):
        cells = replace(fit.cells, false_rate=rate)
        end = maximize(objective(cells), end.theta)
        empty = 1 - occupied_given_history(cells, end.theta)[cells.group]
        before = rate
        rate = min(share * detections / max(float(empty @ visits), 1.0), 0.5)
        if abs(rate - before) <= _SETTLED * before:
            break
    return rate
