"""Likelihood of the dynamic occupancy model, its gradient and its Hessian.

MacKenzie et al. 2003, Ecology 84:2200-2207: a hidden Markov chain of two states a site. The
forward recursion is scaled season by season, so that its size does not depend on their number.
The gradient comes from the posterior chances of the states (Fisher's identity): it is the expected
score of the complete data. The Hessian is the expected one of the complete data plus the variance
of their score (Louis 1982, JRSS B 44:226-233). Given the histories the states are a Markov chain
still, so that variance is the sum, over the steps of the chain, of what each step leaves open.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import expit

from surveys.trends.models.occupancy_blocks import soft_and_chance
from surveys.trends.numerics.arrays import FloatArray, IntArray
from surveys.trends.numerics.grouping import group_rows
from surveys.trends.numerics.optimize import Objective, ValueGradient


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

    @cached_property
    def by_season(self) -> tuple[_Season, ...]:
        """The seasons one by one, each with the step that follows it; the last has none."""
        seasons = self.trials.shape[1]
        none = np.zeros((0, len(self.weight)))
        return tuple(
            _Season(
                heard=np.ascontiguousarray(self.detections[:, season].T),
                trials=np.ascontiguousarray(self.trials[:, season].T),
                detection=np.ascontiguousarray(self.detection[:, season].T),
                gain=self.colonization[:, season].T if season < seasons - 1 else none,
                loss=self.extinction[:, season].T if season < seasons - 1 else none,
            )
            for season in range(seasons)
        )


@dataclass(frozen=True, kw_only=True)
class _Season:
    """``heard`` and ``trials`` (J, G); designs ``detection`` (d, J, G), and ``gain`` (b, G) and
    ``loss`` (c, G) of the step to the next season."""

    heard: FloatArray
    trials: FloatArray
    detection: FloatArray
    gain: FloatArray
    loss: FloatArray


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


def every_nth(cells: DynamicCells, step: int) -> DynamicCells:
    """Some of the cells, without the rows behind them."""
    return DynamicCells(
        detections=cells.detections[::step],
        trials=cells.trials[::step],
        initial=cells.initial[::step],
        colonization=cells.colonization[::step],
        extinction=cells.extinction[::step],
        detection=cells.detection[::step],
        weight=cells.weight[::step],
        group=cells.group[:0],
    )


@dataclass(frozen=True, kw_only=True)
class _Chain:
    """The chain at some coefficients, given the histories.

    ``first`` (G,) is initial occupancy, ``gain`` and ``loss`` (Y - 1, G) the steps of the model;
    ``occupied`` (Y, G) the chance of the state, ``to_occupied`` (Y - 1, 2, G) that of being
    occupied in the next season from either state. ``residual`` (J, G) of each season is what was
    heard less what would be at an occupied site, ``spread`` (J, G) its variance.
    """

    value: float
    first: FloatArray
    gain: FloatArray
    loss: FloatArray
    occupied: FloatArray
    to_occupied: FloatArray
    residual: list[FloatArray]
    spread: list[FloatArray]


def value_gradient(cells: DynamicCells) -> ValueGradient:
    """Log-likelihood and gradient as a function of the coefficients on the logit scale."""
    return objective(cells).value_gradient


def objective(cells: DynamicCells) -> Objective:
    """Value, gradient and Hessian for the search."""
    latest: list[tuple[FloatArray, _Chain | None]] = []

    def chain_at(theta: FloatArray) -> _Chain | None:
        # The Hessian is asked for at the point whose gradient was just computed.
        if not latest or latest[0][0] is not theta:
            latest[:] = [(theta, _chain(cells, theta))]
        return latest[0][1]

    def evaluate(theta: FloatArray) -> tuple[float, FloatArray]:
        chain = chain_at(theta)
        if chain is None:
            return -np.inf, np.zeros(len(theta))
        return chain.value, _scores(cells, chain) @ cells.weight

    def hessian(theta: FloatArray) -> FloatArray:
        chain = chain_at(theta)
        if chain is None:
            return np.zeros((len(theta), len(theta)))
        return _complete_hessian(cells, chain) + _score_variance(cells, chain)

    return Objective(value_gradient=evaluate, hessian=hessian)


def cell_scores(cells: DynamicCells, theta: FloatArray) -> FloatArray:
    """Derivative of each cell's log-likelihood, (G, K), for one row of the cell."""
    chain = _chain(cells, theta)
    if chain is None:
        return np.full((len(cells.weight), len(theta)), np.nan)
    return _scores(cells, chain).T


def _scores(cells: DynamicCells, chain: _Chain) -> FloatArray:
    """Derivatives of the cells by the coefficients (K, G): expected scores of the states."""
    of_gain, of_loss, of_detection = (
        np.zeros((design.shape[-1], len(cells.weight)))
        for design in (cells.colonization, cells.extinction, cells.detection)
    )
    for number, season in enumerate(cells.by_season):
        occupied = chain.occupied[number]
        of_detection += (season.detection * (chain.residual[number] * occupied)).sum(axis=1)
        if number < len(chain.gain):
            from_empty, from_occupied = chain.to_occupied[number]
            of_gain += ((1 - occupied) * (from_empty - chain.gain[number])) * season.gain
            of_loss += (occupied * (1 - from_occupied - chain.loss[number])) * season.loss
    of_first = (chain.occupied[0] - chain.first) * cells.initial.T
    return np.concatenate([of_first, of_gain, of_loss, of_detection])


def _complete_hessian(cells: DynamicCells, chain: _Chain) -> FloatArray:
    """The Hessian (K, K) if the states were known, averaged over what they may be."""
    sizes = [part.shape[-1] for part in (cells.initial, cells.colonization, cells.extinction)]
    a, b, c = np.cumsum(sizes)
    size = c + cells.detection.shape[-1]
    matrix = np.zeros((size, size))
    weight = cells.weight
    matrix[:a, :a] = -_gram(cells.initial.T, weight * chain.first * (1 - chain.first))
    for number, season in enumerate(cells.by_season):
        occupied = weight * chain.occupied[number]
        flat = season.detection.reshape(len(season.detection), season.trials.size)
        matrix[c:, c:] -= _gram(flat, (occupied * chain.spread[number]).ravel())
        if number < len(chain.gain):
            gain, loss = chain.gain[number], chain.loss[number]
            matrix[a:b, a:b] -= _gram(season.gain, (weight - occupied) * gain * (1 - gain))
            matrix[b:c, b:c] -= _gram(season.loss, occupied * loss * (1 - loss))
    return matrix


def _score_variance(cells: DynamicCells, chain: _Chain) -> FloatArray:
    """Variance (K, K) of the score of the complete data, given the histories.

    Worked out from the last season back. ``ahead`` (K, G) is how much the expected score of all
    that is to come differs between being occupied and being empty now. A step from either state
    leaves open which of the two comes next, and with it this difference.
    """
    sizes = [part.shape[-1] for part in (cells.initial, cells.colonization, cells.extinction)]
    a, b, c = np.cumsum(sizes)
    size = c + cells.detection.shape[-1]
    matrix = np.zeros((size, size))
    ahead = np.zeros((size, len(cells.weight)))
    for number in range(len(cells.by_season) - 1, -1, -1):
        season = cells.by_season[number]
        if number < len(chain.gain):
            occupied, (from_empty, from_occupied) = (
                chain.occupied[number],
                chain.to_occupied[number],
            )
            ahead[a:b] += season.gain
            matrix += _gram(ahead, cells.weight * (1 - occupied) * from_empty * (1 - from_empty))
            ahead[a:b] -= season.gain
            ahead[b:c] -= season.loss
            matrix += _gram(ahead, cells.weight * occupied * from_occupied * (1 - from_occupied))
            ahead[b:c] += season.loss
            ahead *= from_occupied - from_empty
            ahead[a:b] += (chain.gain[number] - from_empty) * season.gain
            ahead[b:c] += (1 - chain.loss[number] - from_occupied) * season.loss
        ahead[c:] += (season.detection * chain.residual[number]).sum(axis=1)
    ahead[:a] += cells.initial.T
    matrix += _gram(ahead, cells.weight * chain.occupied[0] * (1 - chain.occupied[0]))
    return matrix


def _gram(columns: FloatArray, weight: FloatArray) -> FloatArray:
    gram: FloatArray = (columns * weight) @ columns.T
    return gram


def _chain(cells: DynamicCells, theta: FloatArray) -> _Chain | None:
    """None where the histories are impossible."""
    for_first, for_gain, for_loss, for_detection = cells.split(theta)
    first = soft_and_chance(cells.initial @ for_first)[1]
    seasons, count = len(cells.by_season), len(cells.weight)
    gain, loss = np.empty((seasons - 1, count)), np.empty((seasons - 1, count))
    if_occupied, silent = np.empty((seasons, count)), np.empty((seasons, count))
    height, residual, spread = np.empty((seasons, count)), [], []
    for number, season in enumerate(cells.by_season):
        flat = season.detection.reshape(len(season.detection), season.trials.size)
        logit = (for_detection @ flat).reshape(season.trials.shape)
        soft, p, p_spread = soft_and_chance(logit)
        log_chance = (season.heard * logit - season.trials * soft).sum(axis=0)
        # The larger of the chances if empty and if occupied is 1; what was divided out is the
        # height.
        silent[number] = ~season.heard.any(axis=0)
        if_occupied[number] = np.where(silent[number] > 0, np.exp(log_chance), 1.0)
        height[number] = np.where(silent[number] > 0, 0.0, log_chance)
        residual.append(season.heard - season.trials * p)
        spread.append(season.trials * p_spread)
        if number < seasons - 1:
            gain[number] = soft_and_chance(for_gain @ season.gain)[1]
            loss[number] = soft_and_chance(for_loss @ season.loss)[1]
    forward, scale = _forward(if_occupied, silent, first, gain, loss)
    with np.errstate(divide="ignore"):
        value = float(cells.weight @ (np.log(scale) + height).sum(axis=0))
    if not np.isfinite(value):
        return None
    occupied, to_occupied = _backward(if_occupied, silent, forward, scale, gain, loss)
    return _Chain(
        value=value,
        first=first,
        gain=gain,
        loss=loss,
        occupied=occupied,
        to_occupied=to_occupied,
        residual=residual,
        spread=spread,
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


def _forward(
    if_occupied: FloatArray,
    if_empty: FloatArray,
    first: FloatArray,
    gain: FloatArray,
    loss: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Chance of being occupied given the seasons so far, and the scale of each step (Y, G)."""
    forward, scale = np.empty_like(if_occupied), np.empty_like(if_occupied)
    occupied = first
    for season in range(len(if_occupied)):
        joint = occupied * if_occupied[season]
        scale[season] = joint + (1 - occupied) * if_empty[season]
        forward[season] = joint / np.maximum(scale[season], np.finfo(float).tiny)
        if season < len(gain):
            stays, comes = 1 - loss[season], gain[season]
            occupied = forward[season] * stays + (1 - forward[season]) * comes
    return forward, scale


def _backward(
    if_occupied: FloatArray,
    if_empty: FloatArray,
    forward: FloatArray,
    scale: FloatArray,
    gain: FloatArray,
    loss: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Chance of being occupied given all seasons (Y, G), and of being so in the next season from
    either state (Y - 1, 2, G)."""
    occupied, to_occupied = np.empty_like(forward), np.empty((len(gain), 2, forward.shape[1]))
    occupied[-1] = forward[-1]
    # Chance of the seasons to come given each state, over the same scale.
    empty_ahead, occupied_ahead = np.ones_like(scale[0]), np.ones_like(scale[0])
    for season in range(len(gain) - 1, -1, -1):
        to_there = if_occupied[season + 1] * occupied_ahead / scale[season + 1]
        to_none = if_empty[season + 1] * empty_ahead / scale[season + 1]
        gained, stayed = gain[season] * to_there, (1 - loss[season]) * to_there
        empty_ahead = gained + (1 - gain[season]) * to_none
        occupied_ahead = stayed + loss[season] * to_none
        for state, (part, whole) in enumerate(((gained, empty_ahead), (stayed, occupied_ahead))):
            to_occupied[season, state] = part / np.maximum(whole, np.finfo(float).tiny)
        occupied[season] = forward[season] * occupied_ahead
    return occupied, to_occupied
