"""The chance of a false detection at which a given share of all detections are false."""

from __future__ import annotations

import numpy as np
from scipy.special import logit

from surveys.trends.models.false_positive_likelihood import (
    false_positive_cells,
    objective,
    occupied_given_history,
)
from surveys.trends.models.occupancy import OccupancyFit
from surveys.trends.numerics.arrays import FloatArray
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
    theta = fit.maximum.theta
    rate = share * detections / max(float(visits.sum()), 1.0)
    for _ in range(_MOST_PASSES):
        cells = false_positive_cells(
            fit.history,
            np.zeros(fit.history.shape, dtype=np.bool_),
            psi_design=fit.cells.psi_design[fit.cells.group],
            p_design=_by_visit(fit),
            false_design=np.zeros((len(visits), 0)),
            false_offset=np.full(len(visits), float(logit(rate))),
            certain_design=np.zeros((len(visits), 0)),
        )
        theta = maximize(objective(cells), theta).theta
        empty = 1 - occupied_given_history(cells, theta)[cells.group]
        before = rate
        rate = min(share * detections / max(float(empty @ visits), 1.0), 0.5)
        if abs(rate - before) <= _SETTLED * before:
            break
    return rate


def _by_visit(fit: OccupancyFit) -> FloatArray:
    design: FloatArray = fit.cells.p_design[fit.cells.group]
    return design[:, 0] if design.shape[1] == 1 else design
