"""Ordered classes by cumulative logits, with derivatives that keep their digits.

P(class <= k) = F(threshold[k] - shift), F the logistic function (McCullagh 1980, Journal of the
Royal Statistical Society B 42:109-142). A larger shift means a higher class.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surveys.trends.numerics.arrays import FloatArray


@dataclass(frozen=True, kw_only=True)
class ClassChances:
    """Of m + 1 classes at N shifts: log chance (N, m + 1), its derivative by each threshold
    (N, m + 1, m) and by the shift (N, m + 1)."""

    log: FloatArray
    by_threshold: FloatArray
    by_shift: FloatArray


def class_chances(thresholds: FloatArray, shift: FloatArray) -> ClassChances:
    """Chances of the classes at increasing ``thresholds`` (m,) and any ``shift`` (N,)."""
    rows, m = len(shift), len(thresholds)
    bounds = thresholds[None, :] - shift[:, None]
    below, above = _log_logistic(bounds), _log_logistic(-bounds)
    with np.errstate(divide="ignore"):
        # F(u) - F(l) = F(u) F(-l) (1 - exp(l - u)), which never subtracts two nearly equal chances.
        gap = np.log(-np.expm1(-np.diff(thresholds)))
    zero = np.zeros((rows, 1))
    upper, lower = np.hstack([below, zero]), np.hstack([zero, above])
    between = np.concatenate([[0.0], gap, [0.0]])[None, :]
    log = upper + lower + between

    by_threshold = np.zeros((rows, m + 1, m))
    with np.errstate(over="ignore"):
        at_upper = np.exp(above - lower[:, :-1] - between[:, :-1])
        at_lower = np.exp(below - upper[:, 1:] - between[:, 1:])
    k = np.arange(m)
    by_threshold[:, k, k] = at_upper
    by_threshold[:, k + 1, k] = -at_lower
    by_shift = np.exp(np.hstack([below, zero])) + np.exp(np.hstack([zero - np.inf, below])) - 1.0
    return ClassChances(log=log, by_threshold=by_threshold, by_shift=by_shift)


def class_curvature(thresholds: FloatArray, shift: FloatArray) -> FloatArray:
    """Second derivatives of the log chances (N, m + 1, m + 1, m + 1) by the thresholds and, in the
    last place, the shift."""
    m = len(thresholds)
    chances = class_chances(thresholds, shift)
    bounds = thresholds[None, :] - shift[:, None]
    turn = -np.tanh(bounds / 2)  # 1 - 2 F
    matrix = np.zeros((len(shift), m + 1, m + 1, m + 1))
    k = np.arange(m)
    upper, lower = chances.by_threshold[:, k, k], chances.by_threshold[:, k + 1, k]
    matrix[:, k, k, k] = upper * (turn - upper)
    matrix[:, k + 1, k, k] = lower * (turn - lower)
    inner = np.arange(1, m)
    matrix[:, inner, inner - 1, inner] = -lower[:, :-1] * upper[:, 1:]
    matrix[:, inner, inner, inner - 1] = matrix[:, inner, inner - 1, inner]
    # Both thresholds of a class move against the shift.
    matrix[..., m, :m] = -matrix[..., :m, :m].sum(axis=-1)
    matrix[..., :m, m] = matrix[..., m, :m]
    matrix[..., m, m] = -matrix[..., m, :m].sum(axis=-1)
    return matrix


def thresholds_of(free: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Increasing thresholds from free numbers (first, then log steps), and the Jacobian (m, m)."""
    steps = np.concatenate([free[:1], np.exp(free[1:])])
    scale = np.concatenate([np.ones(min(len(free), 1)), steps[1:]])
    jacobian = np.tril(np.ones((len(free), len(free)))) * scale[None, :]
    return np.cumsum(steps), jacobian


def free_of(chances: FloatArray) -> FloatArray:
    """The free numbers whose thresholds give these class chances (m + 1,), all above zero."""
    cumulative = np.cumsum(chances)[:-1] / np.sum(chances)
    thresholds = np.log(cumulative / (1 - cumulative))
    return np.concatenate([thresholds[:1], np.log(np.diff(thresholds))])


def _log_logistic(x: FloatArray) -> FloatArray:
    out: FloatArray = -np.logaddexp(0.0, -x)
    return out
