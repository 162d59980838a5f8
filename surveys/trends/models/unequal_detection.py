"""Sites that differ in how well the species is heard there, where nothing on the sheet says why.

Two forms, each a list of states for ``latent_mixture``. Two classes of sites (Pledger 2000,
Biometrics 56:434-442; for occupancy Royle 2006, Biometrics 62:97-102): in one it is heard better,
in the other worse. Abundance-induced (Royle & Nichols 2003, Ecology 84:777-790): more animals are
heard more surely; here by the share of sites with at least one animal, psi = 1 - exp(-lambda), so
that all forms speak of the same occupancy. Which form is right cannot be seen from the data alone
when detection is low (Link 2003, Biometrics 59:1123-1130), so each is an assumption.
"""

from __future__ import annotations

import numpy as np
from scipy.special import expit, gammaln

from surveys.trends.models.latent_mixture import Curved, Predicted, by_coefficients, summed
from surveys.trends.models.occupancy_blocks import (
    Block,
    quick_soft_and_chance,
    soft_and_chance,
)
from surveys.trends.numerics.arrays import FloatArray

# Largest number of animals summed over. Occupancy, unlike the mean number, barely depends on it.
BOUND = 30
# With more visits that are heard by themselves, numbers of animals are summed instead of visits.
_MOST_VISITS = 6
# A sum of terms of both signs that is smaller than this part of them has lost too many digits.
_LOST = 1e-6


def two_classes(
    block: Block, psi_logit: FloatArray, p_logit: FloatArray, numbers: FloatArray
) -> Predicted:
    """Empty, or occupied in the class with higher or with lower detection. ``numbers``: how far the
    classes are apart on the logit scale, and the logit of the share of sites in the first."""
    apart, in_first = numbers
    soft_psi, psi, psi_spread = soft_and_chance(psi_logit)
    first = float(expit(in_first))
    visits, count = p_logit.shape
    logs = np.empty((3, count))
    logs[0] = -np.inf if block.if_empty is None else block.if_empty - soft_psi
    scores, spreads = np.empty((2, visits + 3, count)), []
    for state, side in ((1, 0.5), (2, -0.5)):
        logit = p_logit + side * apart
        soft, p, spread = quick_soft_and_chance(logit)
        if not block.all_listened:
            for values in (soft, p, spread):
                values *= block.trials
        logit *= block.heard
        logit -= soft
        of_class = -np.logaddexp(0.0, -in_first if state == 1 else in_first)
        logs[state] = psi_logit - soft_psi + of_class + logit.sum(axis=0)
        score = scores[state - 1]
        score[0] = 1 - psi
        residual = np.subtract(block.heard, p, out=score[1 : 1 + visits])
        score[-2] = side * residual.sum(axis=0)
        score[-1] = 1 - first if state == 1 else -first
        spreads.append(spread)
    value, (empty, *of_classes) = _over_states(logs)
    slope = of_classes[0] * scores[0] + of_classes[1] * scores[1]
    slope[0] -= empty * psi

    def hessian() -> FloatArray:
        weighted = block.weight * np.array([empty, *of_classes])
        matrix = _variance_of_scores(block, weighted, scores, psi)
        k = len(block.psi)
        # If the states were known, averaged over what they may be.
        matrix[:k, :k] -= (block.psi * (block.weight * psi_spread)) @ block.psi.T
        higher, lower = weighted[1] * spreads[0], weighted[2] * spreads[1]
        both = higher + lower
        matrix[k:-2, k:-2] -= (block.flat * both.ravel()) @ block.flat.T
        crossed = block.flat @ (lower - higher).ravel() / 2
        matrix[k:-2, -2] += crossed
        matrix[-2, k:-2] += crossed
        matrix[-2, -2] -= float(both.sum()) / 4
        matrix[-1, -1] -= float(weighted[1:].sum()) * first * (1 - first)
        return matrix

    return Predicted(value=value, slope=slope, hessian=hessian)


def _variance_of_scores(
    block: Block, weighted: FloatArray, scores: FloatArray, psi: FloatArray
) -> FloatArray:
    """What not knowing the state adds to the Hessian of two classes, by coefficients (k, k).

    ``weighted`` (3, g) are the rows of a cell times the chances of its states, ``scores`` (2, P, g)
    those of the classes; an empty site has only ``-psi``, by the logit of occupancy.
    """
    k = len(block.psi)
    mean = np.zeros((k + len(block.p) + 2, len(psi)))
    mean[:k] = (-weighted[0] * psi) * block.psi
    matrix = np.zeros((len(mean), len(mean)))
    matrix[:k, :k] = (block.psi * (weighted[0] * psi**2)) @ block.psi.T
    for chance, score in zip(weighted[1:], scores, strict=True):
        own = by_coefficients(block, score)
        times = own * chance
        matrix += times @ own.T
        mean += times
    matrix -= (mean / block.weight) @ mean.T
    return matrix


def _over_states(logs: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The log of the sum of the chances of the states (S, g), and how likely each of them is."""
    highest = logs.max(axis=0)
    chances = np.exp(logs - highest)
    total = chances.sum(axis=0)
    chances /= total
    return highest + np.log(total), chances


def abundance_induced(
    block: Block, psi_logit: FloatArray, p_logit: FloatArray, numbers: FloatArray
) -> Predicted:
    """Any number of animals, each heard with the chance whose logit is ``p_logit``. There are no
    single ``numbers``."""
    visits = len(p_logit)
    if not 1 < visits <= _MOST_VISITS:
        return _by_animals(block.heard, block.trials, psi_logit, p_logit).of_block(block)
    sums = _Sums(block, psi_logit, p_logit)
    lost = np.flatnonzero(sums.value < _LOST * sums.size)
    told = sums.predicted()
    if not len(lost):
        return told.of_block(block)
    again = _by_animals(
        block.heard[:, lost], block.trials[:, lost], psi_logit[lost], p_logit[:, lost]
    )
    told.value[lost], told.slope[:, lost] = again.value, again.slope

    def curvature() -> FloatArray:
        matrix = told.curvature()
        matrix[:, :, lost] = again.curvature()
        return matrix

    return Curved(value=told.value, slope=told.slope, curvature=curvature).of_block(block)


class _Sums:
    """The chance of what was heard, in closed form, with its derivatives.

    Of a Poisson number of animals with mean m, the chance that none is heard on a set A of visits
    is exp(-m (1 - Q)), Q being the product over A of the chance q that one animal is missed. That
    all other visits heard some follows by inclusion and exclusion: the sum over all sets of heard
    visits that are added to the silent ones, with a minus for those of odd size.

    ``value`` (g,) is the sum, ``size`` (g,) that of the terms without their signs.
    """

    def __init__(self, block: Block, psi_logit: FloatArray, p_logit: FloatArray) -> None:
        self.sets = sets = block.missed_sets
        self.soft_psi, self.psi, self.psi_spread = soft_and_chance(psi_logit)
        soft_p, self.r, self.r_spread = soft_and_chance(p_logit)
        # Of each set: the chance that one animal is missed on all of its visits, and that it is
        # not, and the term with its sign.
        self.rest = -np.expm1(-(sets.member * soft_p[:, sets.row]).sum(axis=0))
        self.every, self.mean = 1 - self.rest, self.soft_psi[sets.row]
        self.term = sets.sign * np.exp(-self.mean * self.rest)
        by_missed = sets.member * (self.mean * self.every * self.term)
        self.value, self.size, self.by_mean, *missed = sets.of_cells(
            np.vstack([self.term, np.abs(self.term), -self.rest * self.term, by_missed])
        )
        self.by_missed = np.array(missed)

    def predicted(self) -> Curved:
        """By the predictors."""
        # Sums that lost their digits are worked out otherwise.
        with np.errstate(divide="ignore", invalid="ignore"):
            value = np.log(self.value)
            by_mean, by_missed = self.by_mean / self.value, self.by_missed / self.value
        slope = np.vstack([by_mean * self.psi, -by_missed * self.r])
        return Curved(
            value=value, slope=slope, curvature=lambda: self._curvature(by_mean, by_missed)
        )

    def _curvature(self, by_mean: FloatArray, by_missed: FloatArray) -> FloatArray:
        visits, count = by_missed.shape
        member, of_one = self.sets.member, self.every * self.term
        by_both = -of_one * (1 - self.mean * self.rest)
        by_two = self.mean * of_one * (1 + self.mean * self.every)
        first, second = np.tril_indices(visits)
        summed = self.sets.of_cells(
            np.vstack(
                [
                    self.rest**2 * self.term,
                    member * by_both,
                    member[first] * member[second] * by_two,
                ]
            )
        )
        matrix = np.zeros((1 + visits, 1 + visits, count))
        matrix[0] = summed[: 1 + visits]
        matrix[1 + first, 1 + second] = summed[1 + visits :]
        with np.errstate(divide="ignore", invalid="ignore"):
            matrix /= self.value
        first = np.vstack([by_mean, -by_missed])
        scale = np.vstack([self.psi, self.r])
        for p in range(1 + visits):
            for q in range(p + 1):
                known = matrix[q, p] if q == 0 else matrix[p, q]
                matrix[p, q] = (known - first[p] * first[q]) * scale[p] * scale[q]
                matrix[q, p] = matrix[p, q]
        matrix[0, 0] += by_mean * self.psi_spread
        own = np.arange(1, 1 + visits)
        matrix[own, own] -= by_missed * self.r_spread
        return matrix


def _by_animals(
    detections: FloatArray, trials: FloatArray, psi_logit: FloatArray, p_logit: FloatArray
) -> Curved:
    """The sum over 0 animals to the bound."""
    visits, count = trials.shape
    animals = np.arange(BOUND + 1, dtype=np.float64)[:, None]
    soft_psi, slope, _ = soft_and_chance(psi_logit)
    mean = soft_psi
    silent, heard = (trials - detections)[None], detections[None]
    r = expit(p_logit)
    nobody = animals[:, :, None] * np.logaddexp(0.0, p_logit)
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        loud = np.where(heard > 0, heard * np.log(-np.expm1(-nobody)), 0.0)
        odds = np.where(animals[:, :, None] > 0, 1.0 / np.expm1(nobody), 0.0)
    logs = animals * np.log(mean) - mean - gammaln(animals + 1)
    logs = logs + (loud - silent * nobody).sum(axis=1)
    scores = np.empty((BOUND + 1, visits + 1, count))
    scores[:, 0] = (animals / mean - 1) * slope
    by_logit = r * animals[:, :, None] * (heard * odds - silent)
    scores[:, 1:] = by_logit

    def mean_curvature(weights: FloatArray) -> FloatArray:
        matrix = np.zeros((visits + 1, visits + 1, count))
        expected = animals[:, 0] @ weights
        matrix[0, 0] = -expected * (slope / mean) ** 2
        matrix[0, 0] += (expected / mean - 1) * slope * (1 - slope)
        second = (1 - r) * by_logit - heard * (animals[:, :, None] * r) ** 2 * odds * (1 + odds)
        visit = np.arange(1, visits + 1)
        matrix[visit, visit] = (second * weights[:, None, :]).sum(axis=0)
        return matrix

    return summed(logs, scores, mean_curvature)
