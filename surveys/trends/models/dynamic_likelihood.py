"""Likelihood of the dynamic occupancy model and its gradient.

MacKenzie et al. 2003, Ecology 84:2200-2207: a hidden Markov chain of two states a site. The
forward recursion is scaled season by season, so that its size does not depend on their number.
The gradient comes from the posterior chances of the states (Fisher's identity): it is the expected
score of the complete data.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from surveys.trends.numerics.arrays import FloatArray, IntArray
from surveys.trends.numerics.grouping import group_rows
from surveys.trends.numerics.optimize import ValueGradient


@dataclass(frozen=True, kw_only=True)
class DynamicCells:
    """G distinct histories of Y seasons; J is 1 where nothing differs between visits.

    ``detections`` and ``trials`` are (G, Y, J). Designs: ``initial`` (G, a), ``colonization``
    (G, Y - 1, b), ``extinction`` (G, Y - 1, c), ``detection`` (G, Y, J, d).
    """

    detections: FloatArray
    trials: FloatArray
    initial: FloatArray
    colonization: FloatArray
    extinction: FloatArray
    detection: FloatArray
    weight: FloatArray
    group: IntArray

    def split(self, theta: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Coefficients of initial occupancy, colonization, extinction and detection."""
        a = self.initial.shape[1]
        b = a + self.colonization.shape[2]
        c = b + self.extinction.shape[2]
        return theta[:a], theta[a:b], theta[b:c], theta[c:]


def dynamic_cells(
    detections: FloatArray,
    initial: FloatArray,
    colonization: FloatArray,
    extinction: FloatArray,
    detection: FloatArray,
) -> DynamicCells:
    """Group histories (sites, seasons, visits) of 0, 1 and NaN with their designs.

    ``detection`` is (sites, seasons, d), or (sites, seasons, visits, d) when it differs by visit.
    """
    seen = ~np.isnan(detections)
    heard, trials = np.where(seen, detections, 0.0), seen.astype(np.float64)
    if detection.ndim == 3:
        heard, trials = heard.sum(axis=2, keepdims=True), trials.sum(axis=2, keepdims=True)
        detection = detection[:, :, None, :]
    detection = np.where((trials > 0)[..., None], detection, 0.0)
    first, group = group_rows(heard, trials, initial, colonization, extinction, detection)
    return DynamicCells(
        detections=heard[first],
        trials=trials[first],
        initial=initial[first],
        colonization=colonization[first],
        extinction=extinction[first],
        detection=detection[first],
        weight=np.bincount(group, minlength=len(first)).astype(np.float64),
        group=group,
    )


@dataclass(frozen=True, kw_only=True)
class _Residuals:
    """Expected complete data less what the model says, for each part of the parameters."""

    initial: FloatArray
    colonization: FloatArray
    extinction: FloatArray
    detection: FloatArray


def value_gradient(cells: DynamicCells) -> ValueGradient:
    """Log-likelihood and gradient as a function of the coefficients on the logit scale."""

    def evaluate(theta: FloatArray) -> tuple[float, FloatArray]:
        value, residuals = _evaluate(cells, theta)
        if residuals is None:
            return -np.inf, np.zeros(len(theta))
        weight = cells.weight
        gradient = np.concatenate(
            [
                cells.initial.T @ (weight * residuals.initial),
                _sum_by_column(cells.colonization, weight, residuals.colonization),
                _sum_by_column(cells.extinction, weight, residuals.extinction),
                _sum_by_column(cells.detection, weight, residuals.detection),
            ]
        )
        return value, gradient

    return evaluate


def cell_scores(cells: DynamicCells, theta: FloatArray) -> FloatArray:
    """Derivative of each cell's log-likelihood, (G, K), for one row of the cell."""
    residuals = _evaluate(cells, theta)[1]
    if residuals is None:
        return np.full((len(cells.weight), len(theta)), np.nan)
    return np.hstack(
        [
            residuals.initial[:, None] * cells.initial,
            np.einsum("gs,gsk->gk", residuals.colonization, cells.colonization),
            np.einsum("gs,gsk->gk", residuals.extinction, cells.extinction),
            np.einsum("gsj,gsjk->gk", residuals.detection, cells.detection),
        ]
    )


def _evaluate(cells: DynamicCells, theta: FloatArray) -> tuple[float, _Residuals | None]:
    """The log-likelihood, and the residuals where it is finite."""
    for_initial, for_colonization, for_extinction, for_detection = cells.split(theta)
    first = expit(cells.initial @ for_initial)
    gain = expit(cells.colonization @ for_colonization)
    loss = expit(cells.extinction @ for_extinction)
    p_logit = cells.detection @ for_detection
    emission, height = _emissions(cells, p_logit)
    forward, scale = _forward(emission, first, gain, loss)
    with np.errstate(divide="ignore"):
        value = float(cells.weight @ (np.log(scale) + height).sum(axis=1))
    if not np.isfinite(value):
        return -np.inf, None
    backward = _backward(emission, scale, gain, loss)
    occupied = forward[:, :, 1] * backward[:, :, 1]
    ahead = emission[:, 1:] * backward[:, 1:] / scale[:, 1:, None]
    gained = forward[:, :-1, 0] * gain * ahead[:, :, 1]
    stayed_empty = forward[:, :-1, 0] * (1 - gain) * ahead[:, :, 0]
    vacated = forward[:, :-1, 1] * loss * ahead[:, :, 0]
    stayed = forward[:, :-1, 1] * (1 - loss) * ahead[:, :, 1]
    return value, _Residuals(
        initial=occupied[:, 0] - first,
        colonization=gained - gain * (gained + stayed_empty),
        extinction=vacated - loss * (vacated + stayed),
        detection=(cells.detections - cells.trials * expit(p_logit)) * occupied[:, :, None],
    )


def yearly_shares(cells: DynamicCells, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean occupancy of each season (Y,), and its derivative by the coefficients (Y, K).

    psi[t + 1] = psi[t] (1 - extinction) + (1 - psi[t]) colonization, site by site.
    """
    for_initial, for_colonization, for_extinction, _ = cells.split(theta)
    a, b, c = np.cumsum([len(for_initial), len(for_colonization), len(for_extinction)])
    share = expit(cells.initial @ for_initial)
    slope = np.zeros((len(share), len(theta)))
    slope[:, :a] = (share * (1 - share))[:, None] * cells.initial
    weight = cells.weight / cells.weight.sum()
    shares, slopes = [weight @ share], [weight @ slope]
    for season in range(cells.colonization.shape[1]):
        gain = expit(cells.colonization[:, season] @ for_colonization)
        loss = expit(cells.extinction[:, season] @ for_extinction)
        slope = slope * (1 - loss - gain)[:, None]
        slope[:, a:b] += ((1 - share) * gain * (1 - gain))[:, None] * cells.colonization[:, season]
        slope[:, b:c] -= (share * loss * (1 - loss))[:, None] * cells.extinction[:, season]
        share = share * (1 - loss) + (1 - share) * gain
        shares.append(weight @ share)
        slopes.append(weight @ slope)
    return np.array(shares), np.array(slopes)


def _emissions(cells: DynamicCells, p_logit: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Chance of each season's visits given empty and given occupied (G, Y, 2), and log height.

    The larger of the two is 1; what was divided out is the height (G, Y).
    """
    heard = (cells.detections * p_logit - cells.trials * np.logaddexp(0.0, p_logit)).sum(axis=2)
    silent = ~cells.detections.any(axis=2)
    emission = np.ones((*heard.shape, 2))
    emission[:, :, 0] = silent
    emission[:, :, 1] = np.where(silent, np.exp(np.where(silent, heard, 0.0)), 1.0)
    return emission, np.where(silent, 0.0, heard)


def _forward(
    emission: FloatArray, first: FloatArray, gain: FloatArray, loss: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Chance of each state given the seasons so far (G, Y, 2), and the scale of each step."""
    forward, scale = np.empty_like(emission), np.empty(emission.shape[:2])
    occupied = first
    for season in range(emission.shape[1]):
        joint = np.stack([1 - occupied, occupied], axis=1) * emission[:, season]
        scale[:, season] = joint.sum(axis=1)
        forward[:, season] = joint / np.maximum(scale[:, season, None], np.finfo(float).tiny)
        if season < gain.shape[1]:
            occupied = (
                forward[:, season, 1] * (1 - loss[:, season])
                + forward[:, season, 0] * gain[:, season]
            )
    return forward, scale


def _backward(
    emission: FloatArray, scale: FloatArray, gain: FloatArray, loss: FloatArray
) -> FloatArray:
    """Chance of the seasons to come given each state, over the same scale, (G, Y, 2)."""
    backward = np.ones_like(emission)
    for season in range(emission.shape[1] - 2, -1, -1):
        ahead = emission[:, season + 1] * backward[:, season + 1] / scale[:, season + 1, None]
        to_occupied, to_empty = ahead[:, 1], ahead[:, 0]
        rise, fall = gain[:, season], loss[:, season]
        backward[:, season, 0] = rise * to_occupied + (1 - rise) * to_empty
        backward[:, season, 1] = (1 - fall) * to_occupied + fall * to_empty
    return backward


def _sum_by_column(design: FloatArray, weight: FloatArray, residual: FloatArray) -> FloatArray:
    """Sum of residuals over cells, seasons and visits, each times its design row."""
    weighted = residual * weight.reshape(-1, *[1] * (residual.ndim - 1))
    pulled: FloatArray = design.reshape(-1, design.shape[-1]).T @ weighted.ravel()
    return pulled
