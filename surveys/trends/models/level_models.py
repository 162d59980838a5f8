"""Forms of detection that yearly levels of occupancy can be fitted under.

Each makes a likelihood whose coefficients are those of occupancy, then those of detection, then
single numbers of its own. Those have a weak normal prior around where the search begins, so that a
form which the data do not ask for comes to rest.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logit

from surveys.trends.models import false_positive_likelihood as false_positives
from surveys.trends.models import occupancy_likelihood as plain
from surveys.trends.models.latent_mixture import (
    StateModel,
    block_scores,
    mixture_objective_of,
    mixture_scores,
)
from surveys.trends.models.occupancy_blocks import Block
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
    """What is searched, the scores (C, K) summed within clusters (rows,), where the single numbers
    begin (E,), and the curvature of their prior (E,).

    A form that is ``far`` from equal detection is searched for long from there; with
    ``nearly_equal`` numbers (E,) it hardly differs from it.
    """

    objective: Objective
    cluster_scores: Callable[[FloatArray, IntArray], FloatArray]
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
        own = cluster[stretch.rows]
        summed = stretch.likelihood.cluster_scores(theta[stretch.columns], own)
        scores[: len(summed), stretch.columns] += summed
    return scores


# Blocks of all rows where an empty site is heard at by mistake with some chance, which may be 0.
BlocksAt = Callable[[float], tuple[Block, ...]]


@dataclass(frozen=True, kw_only=True)
class LevelModel:
    """A form of detection.

    ``of_rows`` makes its likelihood of histories (rows, visits), the design matrices of occupancy
    and detection, and which rows of the data these are; ``of_blocks`` of blocks, where the form
    needs no more.
    """

    of_rows: Callable[[FloatArray, FloatArray, FloatArray, IntArray], LevelLikelihood]
    of_blocks: Callable[[BlocksAt], LevelLikelihood] | None = None

    def of(self, rows: IntArray) -> LevelModel:
        """The form for some rows (n,), which it still knows as rows of the whole."""
        whole = self.of_rows
        return replace(
            self, of_rows=lambda history, psi, p, kept: whole(history, psi, p, rows[kept])
        )


def with_false_rate(rate: float) -> LevelModel:
    """A visit to an empty site hears the species with this chance, below 1; 0 for never."""

    def of_rows(
        history: FloatArray, psi: FloatArray, p: FloatArray, rows: IntArray
    ) -> LevelLikelihood:
        cells = replace(plain.occupancy_cells(history, psi, p), false_rate=rate)
        return _plain(cells.blocks, lambda *at: plain.clustered_scores(cells, *at))

    def of_blocks(blocks_at: BlocksAt) -> LevelLikelihood:
        blocks = blocks_at(rate)

        def scores(theta: FloatArray, cluster: IntArray) -> FloatArray:
            return plain.scores_of_clusters(plain.block_scores(blocks, theta), cluster, len(theta))

        return _plain(blocks, scores)

    return LevelModel(of_rows=of_rows, of_blocks=of_blocks)


def _mixture(
    model: StateModel, start: FloatArray, nearly_equal: FloatArray | None = None
) -> LevelModel:
    numbers = len(start)

    def likelihood(
        blocks: Sequence[Block], scores: Callable[[FloatArray, IntArray], FloatArray]
    ) -> LevelLikelihood:
        return LevelLikelihood(
            objective=mixture_objective_of(blocks, model, numbers),
            cluster_scores=scores,
            start=start,
            curvature=np.full(numbers, PRIOR_SD_NUMBER**-2),
            far=True,
            nearly_equal=nearly_equal,
        )

    def of_rows(
        history: FloatArray, psi: FloatArray, p: FloatArray, rows: IntArray
    ) -> LevelLikelihood:
        cells = plain.occupancy_cells(history, psi, p)

        def scores(theta: FloatArray, cluster: IntArray) -> FloatArray:
            of_rows = mixture_scores(cells, model, theta, numbers)[cells.group]
            return cluster_scores(of_rows, cluster)

        return likelihood(cells.blocks, scores)

    def of_blocks(blocks_at: BlocksAt) -> LevelLikelihood:
        blocks = blocks_at(0.0)

        def scores(theta: FloatArray, cluster: IntArray) -> FloatArray:
            parts = block_scores(blocks, model, theta, numbers)
            return plain.scores_of_clusters(parts, cluster, len(theta))

        return likelihood(blocks, scores)

    return LevelModel(of_rows=of_rows, of_blocks=of_blocks)


# Sites differ in detection by their covariates alone (MacKenzie et al. 2002).
equal_detection = with_false_rate(0.0)
# Sites are of two classes of detection, nobody knows which are which (Pledger 2000).
in_two_classes = _mixture(
    two_classes, np.array([_CLASSES_APART, 0.0]), np.array([_NEARLY_ALIKE, 0.0])
)
# More animals are heard more surely (Royle & Nichols 2003).
by_abundance = _mixture(abundance_induced, np.zeros(0))


def with_certain(certain: BoolArray, checked: BoolArray | None = None) -> LevelModel:
    """The chance of a false detection follows from those that are certain (Miller et al. 2011).

    ``certain`` and ``checked`` (rows, visits) are of the data. Of a detection that was not checked,
    somebody may have confirmed it all the same, with a chance of its own; where nobody did, those
    say nothing of the chance of confirmation.
    """

    def of_rows(
        history: FloatArray, psi: FloatArray, p: FloatArray, rows: IntArray
    ) -> LevelLikelihood:
        sure = certain[rows]
        again = None if checked is None or not checked.any() else checked[rows]
        one = np.ones((len(history), 1))
        confirmation, tried = one, again
        if again is not None and (sure & ~again).any():
            confirmation = np.stack([again, ~again], axis=2).astype(np.float64)
            tried = None
        cells = false_positives.false_positive_cells(
            history,
            sure,
            checked=tried,
            psi_design=psi,
            p_design=p,
            false_design=one,
            false_offset=np.zeros(len(history)),
            certain_design=confirmation,
        )
        start = [_FALSE_RATE, *[_CERTAIN_SHARE] * confirmation.shape[-1]]
        return _false_positive(cells, logit(np.array(start)))

    return LevelModel(of_rows=of_rows)


def _plain(
    blocks: Sequence[Block], scores: Callable[[FloatArray, IntArray], FloatArray]
) -> LevelLikelihood:
    return LevelLikelihood(
        objective=plain.objective_of(blocks),
        cluster_scores=scores,
        start=np.zeros(0),
        curvature=np.zeros(0),
    )


def _false_positive(
    cells: false_positives.FalsePositiveCells, start: FloatArray
) -> LevelLikelihood:
    def scores(theta: FloatArray, cluster: IntArray) -> FloatArray:
        return cluster_scores(false_positives.cell_scores(cells, theta)[cells.group], cluster)

    return LevelLikelihood(
        objective=false_positives.objective(cells),
        cluster_scores=scores,
        start=start,
        curvature=np.full(len(start), PRIOR_SD_NUMBER**-2),
        far=True,
    )
