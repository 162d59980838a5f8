"""Forms of detection that yearly levels of occupancy can be fitted under.

Each is a function from histories and designs to a likelihood whose coefficients are those of
occupancy, then those of detection, then single numbers of its own. Those have a weak normal prior
around where the search begins, so that a form which the data do not ask for comes to rest.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logit

from surveys.trends.models import false_positive_likelihood as false_positives
from surveys.trends.models import occupancy_likelihood as plain
from surveys.trends.models.latent_mixture import StateModel, mixture_objective, mixture_scores
from surveys.trends.models.unequal_detection import abundance_induced, two_classes
from surveys.trends.numerics.arrays import BoolArray, FloatArray, IntArray
from surveys.trends.numerics.optimize import Objective
from surveys.trends.numerics.sandwich import cluster_scores

# Standard deviation of the prior of a single number on the logit scale; common practice, no source.
PRIOR_SD_NUMBER = 2.0
_CLASSES_APART, _NEARLY_ALIKE = 2.0, 0.2
_FALSE_RATE, _CERTAIN_SHARE = 0.02, 0.3


@dataclass(frozen=True, kw_only=True)
class LevelLikelihood:
    """What is searched, the scores (rows, K) of the rows, where the single numbers begin (E,), and
    the curvature of their prior (E,). A form that is ``far`` from equal detection is searched for
    long from there; with ``nearly_equal`` numbers (E,) it hardly differs from it."""

    objective: Objective
    row_scores: Callable[[FloatArray], FloatArray]
    start: FloatArray
    curvature: FloatArray
    far: bool = False
    nearly_equal: FloatArray | None = None


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """The likelihood of some rows: its coefficients are ``columns`` among those of all stretches,
    ``rows`` are its own among all."""

    likelihood: LevelLikelihood
    columns: IntArray
    rows: IntArray


def joined(stretches: Sequence[Stretch]) -> Objective:
    """The sum of the likelihoods of stretches, which share some coefficients."""
    latest: list[tuple[FloatArray, list[FloatArray]]] = []

    def parts(theta: FloatArray) -> list[FloatArray]:
        # Asked twice at one point, for the gradient and the Hessian, a stretch is given the same
        # array, by which it knows the point.
        if not latest or latest[0][0] is not theta:
            latest[:] = [(theta, [theta[stretch.columns] for stretch in stretches])]
        return latest[0][1]

    def value_gradient(theta: FloatArray) -> tuple[float, FloatArray]:
        total, gradient = 0.0, np.zeros(len(theta))
        for stretch, part in zip(stretches, parts(theta), strict=True):
            value, own = stretch.likelihood.objective.value_gradient(part)
            total += value
            gradient[stretch.columns] += own
        return total, gradient

    def hessian(theta: FloatArray) -> FloatArray:
        matrix = np.zeros((len(theta), len(theta)))
        for stretch, part in zip(stretches, parts(theta), strict=True):
            own = stretch.likelihood.objective.hessian(part)
            matrix[stretch.columns[:, None], stretch.columns] += own
        return matrix

    return Objective(value_gradient=value_gradient, hessian=hessian)


def joined_scores(stretches: Sequence[Stretch], theta: FloatArray, cluster: IntArray) -> FloatArray:
    """Scores summed within each cluster (C, K); ``cluster`` (rows,) is of all rows."""
    scores = np.zeros((int(cluster.max(initial=-1)) + 1, len(theta)))
    for stretch in stretches:
        own = stretch.likelihood.row_scores(theta[stretch.columns])
        summed = cluster_scores(own, cluster[stretch.rows])
        scores[: len(summed), stretch.columns] += summed
    return scores


# Of histories (rows, visits), the design matrices of occupancy and detection, and which rows of the
# data these are.
LevelModel = Callable[[FloatArray, FloatArray, FloatArray, IntArray], LevelLikelihood]


def equal_detection(
    history: FloatArray, psi: FloatArray, p: FloatArray, rows: IntArray
) -> LevelLikelihood:
    """Sites differ in detection by their covariates alone (MacKenzie et al. 2002)."""
    return _plain(plain.occupancy_cells(history, psi, p))


def in_two_classes(
    history: FloatArray, psi: FloatArray, p: FloatArray, rows: IntArray
) -> LevelLikelihood:
    """Sites are of two classes of detection, nobody knows which are which (Pledger 2000)."""
    mixture = _mixture(history, psi, p, two_classes, np.array([_CLASSES_APART, 0.0]))
    return replace(mixture, nearly_equal=np.array([_NEARLY_ALIKE, 0.0]))


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
        return _plain(replace(plain.occupancy_cells(history, psi, p), false_rate=rate))

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


def _plain(cells: plain.OccupancyCells) -> LevelLikelihood:
    return LevelLikelihood(
        objective=plain.objective(cells),
        row_scores=lambda theta: plain.row_scores(cells, theta),
        start=np.zeros(0),
        curvature=np.zeros(0),
    )


def _mixture(
    history: FloatArray, psi: FloatArray, p: FloatArray, model: StateModel, start: FloatArray
) -> LevelLikelihood:
    cells = plain.occupancy_cells(history, psi, p)
    return LevelLikelihood(
        objective=mixture_objective(cells, model, len(start)),
        row_scores=lambda theta: mixture_scores(cells, model, theta, len(start))[cells.group],
        start=start,
        curvature=np.full(len(start), PRIOR_SD_NUMBER**-2),
        far=True,
    )


def _false_positive(
    cells: false_positives.FalsePositiveCells, start: FloatArray
) -> LevelLikelihood:
    return LevelLikelihood(
        objective=false_positives.objective(cells),
        row_scores=lambda theta: false_positives.cell_scores(cells, theta)[cells.group],
        start=start,
        curvature=np.full(len(start), PRIOR_SD_NUMBER**-2),
        far=True,
    )
