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

from surveys.trends.models.latent_mixture import States
from surveys.trends.models.occupancy_likelihood import OccupancyCells
from surveys.trends.numerics.arrays import FloatArray

# Largest number of animals summed over. Occupancy, unlike the mean number, barely depends on it.
BOUND = 30


def two_classes(
    cells: OccupancyCells, psi_logit: FloatArray, p_logit: FloatArray, numbers: FloatArray
) -> States:
    """Empty, or occupied in the class with higher or with lower detection. ``numbers``: how far the
    classes are apart on the logit scale, and the logit of the share of sites in the first."""
    apart, in_first = numbers
    psi, first = expit(psi_logit), float(expit(in_first))
    count, visits = cells.trials.shape
    logs = np.empty((count, 3))
    scores = np.zeros((count, 3, visits + 3))
    empty = -np.logaddexp(0.0, psi_logit)
    logs[:, 0] = np.where(cells.silent, empty, -np.inf)
    scores[:, 0, 0] = -psi
    spreads = []
    for state, side in ((1, 0.5), (2, -0.5)):
        logit = p_logit + side * apart
        p = expit(logit)
        residual = cells.detections - cells.trials * p
        of_class = -np.logaddexp(0.0, -in_first if state == 1 else in_first)
        heard = cells.detections * logit - cells.trials * np.logaddexp(0.0, logit)
        logs[:, state] = -np.logaddexp(0.0, -psi_logit) + of_class + heard.sum(axis=1)
        scores[:, state, 0] = 1 - psi
        scores[:, state, 1 : 1 + visits] = residual
        scores[:, state, -2] = side * residual.sum(axis=1)
        scores[:, state, -1] = 1 - first if state == 1 else -first
        spreads.append((state, side, cells.trials * p * (1 - p)))

    def mean_curvature(weights: FloatArray) -> FloatArray:
        matrix = np.zeros((count, visits + 3, visits + 3))
        matrix[:, 0, 0] = -psi * (1 - psi)
        occupied = 1 - weights[:, 0]
        matrix[:, -1, -1] = -occupied * first * (1 - first)
        visit = np.arange(1, visits + 1)
        for state, side, spread in spreads:
            weighted = weights[:, state, None] * spread
            matrix[:, visit, visit] -= weighted
            matrix[:, visit, -2] -= side * weighted
            matrix[:, -2, visit] -= side * weighted
            matrix[:, -2, -2] -= side * side * weighted.sum(axis=1)
        return matrix

    return States(logs=logs, scores=scores, mean_curvature=mean_curvature)


def abundance_induced(
    cells: OccupancyCells, psi_logit: FloatArray, p_logit: FloatArray, numbers: FloatArray
) -> States:
    """From 0 animals to the bound, each heard with the chance whose logit is ``p_logit``. There are
    no single ``numbers``."""
    count, visits = cells.trials.shape
    animals = np.arange(BOUND + 1, dtype=np.float64)
    mean = np.logaddexp(0.0, psi_logit)
    slope = expit(psi_logit)
    silent = cells.trials - cells.detections
    heard = cells.detections[:, :, None]
    r = expit(p_logit)[:, :, None]
    nobody = np.logaddexp(0.0, p_logit)[:, :, None] * animals
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        loud = np.where(heard > 0, heard * np.log(-np.expm1(-nobody)), 0.0)
        odds = np.where(animals > 0, 1.0 / np.expm1(nobody), 0.0)
    by_visit = loud - silent[:, :, None] * nobody
    logs = animals * np.log(mean)[:, None] - mean[:, None] - gammaln(animals + 1)
    logs = logs + by_visit.sum(axis=1)
    scores = np.empty((count, BOUND + 1, visits + 1))
    excess = animals / mean[:, None] - 1
    scores[:, :, 0] = excess * slope[:, None]
    by_logit = r * animals * (heard * odds - silent[:, :, None])
    scores[:, :, 1:] = np.moveaxis(by_logit, 1, 2)

    def mean_curvature(weights: FloatArray) -> FloatArray:
        matrix = np.zeros((count, visits + 1, visits + 1))
        expected = weights @ animals
        matrix[:, 0, 0] = -expected * (slope / mean) ** 2
        matrix[:, 0, 0] += (expected / mean - 1) * slope * (1 - slope)
        second = (1 - r) * by_logit - heard * (animals * r) ** 2 * odds * (1 + odds)
        visit = np.arange(1, visits + 1)
        matrix[:, visit, visit] = (second * weights[:, None, :]).sum(axis=2)
        return matrix

    return States(logs=logs, scores=scores, mean_curvature=mean_curvature)
