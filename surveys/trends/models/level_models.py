"""Forms of detection that yearly levels of occupancy can be fitted under.

Each is a function from histories and designs to a likelihood whose coefficients are those of
occupancy, then those of detection, then single numbers of its own. Those have a weak normal prior
around where the search begins, so that a form which the data do not ask for comes to rest.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import logit

from surveys.trends.models import false_positive_likelihood as false_positives
from surveys.trends.models import occupancy_likelihood as plain
from surveys.trends.models.latent_mixture import StateModel, mixture_objective, mixture_scores
from surveys.trends.models.unequal_detection import abundance_induced, two_classes
from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray
from surveys.trends.numerics.optimize import Objective

# Standard deviation of the prior of a single number on the logit scale; common practice, no source.
PRIOR_SD_NUMBER = 2.0
_CLASSES_APART = 2.0
_FALSE_RATE, _CERTAIN_SHARE = 0.02, 0.3


@dataclass(frozen=True, kw_only=True)
class LevelLikelihood:
    """What is searched, the scores (rows, K) of the rows, where the single numbers begin (E,), and
    the curvature of their prior (E,)."""

    objective: Objective
    row_scores: Callable[[FloatArray], FloatArray]
    start: FloatArray
    curvature: FloatArray


# Of histories (rows, visits), the design matrices of occupancy and detection, and which rows of the
# data these are.
LevelModel = Callable[[FloatArray, FloatArray, FloatArray, IntArray], LevelLikelihood]


def equal_detection(
    history: FloatArray, psi: FloatArray, p: FloatArray, rows: IntArray
) -> LevelLikelihood:
    """Sites differ in detection by their covariates alone (MacKenzie et al. 2002)."""
    cells = plain.occupancy_cells(history, psi, p)
    return LevelLikelihood(
        objective=plain.objective(cells),
        row_scores=lambda theta: plain.cell_scores(cells, theta)[cells.group],
        start=np.zeros(0),
        curvature=np.zeros(0),
    )


def in_two_classes(
    history: FloatArray, psi: FloatArray, p: FloatArray, rows: IntArray
) -> LevelLikelihood:
    """Sites are of two classes of detection, nobody knows which are which (Pledger 2000)."""
    return _mixture(history, psi, p, two_classes, np.array([_CLASSES_APART, 0.0]))


def by_abundance(
    history: FloatArray, psi: FloatArray, p: FloatArray, rows: IntArray
) -> LevelLikelihood:
    """More animals are heard more surely (Royle & Nichols 2003)."""
    return _mixture(history, psi, p, abundance_induced, np.zeros(0))


def with_false_rate(rate: float) -> LevelModel:
    """A visit to an empty site hears the species with this chance, above 0 and below 1."""

    def model(
        history: FloatArray, psi: FloatArray, p: FloatArray, rows: IntArray
    ) -> LevelLikelihood:
        cells = false_positives.false_positive_cells(
            history,
            np.zeros(history.shape, dtype=np.bool_),
            psi_design=psi,
            p_design=p,
            false_design=np.zeros((len(history), 0)),
            false_offset=np.full(len(history), float(logit(rate))),
            certain_design=np.zeros((len(history), 0)),
        )
        return _false_positive(cells, np.zeros(0))

    return model


def with_certain(certain: BoolArray) -> LevelModel:
    """The chance of a false detection follows from those that are certain (Miller et al. 2011);
    ``certain`` (rows, visits) is of the data."""

    def model(
        history: FloatArray, psi: FloatArray, p: FloatArray, rows: IntArray
    ) -> LevelLikelihood:
        one = np.ones((len(history), 1))
        cells = false_positives.false_positive_cells(
            history,
            certain[rows],
            psi_design=psi,
            p_design=p,
            false_design=one,
            false_offset=np.zeros(len(history)),
            certain_design=one,
        )
        return _false_positive(cells, logit(np.array([_FALSE_RATE, _CERTAIN_SHARE])))

    return model


def _mixture(
    history: FloatArray, psi: FloatArray, p: FloatArray, model: StateModel, start: FloatArray
) -> LevelLikelihood:
    cells = plain.occupancy_cells(history, psi, p)
    return LevelLikelihood(
        objective=mixture_objective(cells, model, len(start)),
        row_scores=lambda theta: mixture_scores(cells, model, theta)[cells.group],
        start=start,
        curvature=np.full(len(start), PRIOR_SD_NUMBER**-2),
    )


def _false_positive(
    cells: false_positives.FalsePositiveCells, start: FloatArray
) -> LevelLikelihood:
    return LevelLikelihood(
        objective=false_positives.objective(cells),
        row_scores=lambda theta: false_positives.cell_scores(cells, theta)[cells.group],
        start=start,
        curvature=np.full(len(start), PRIOR_SD_NUMBER**-2),
    )
