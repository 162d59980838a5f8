"""Likelihood of detection that grows with abundance (Royle & Nichols 2003, Ecology 84:777-790).

A site holds N animals, Poisson with mean lambda; each is heard with chance r at a visit, so that
the species is heard with chance 1 - (1 - r)^N. N is summed from 0 to a bound. Gradient by Fisher's
identity.
"""

from __future__ import annotations

import numpy as np
from scipy.special import expit, gammaln, logsumexp

from surveys.trends.models.occupancy_likelihood import OccupancyCells
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.numerics.optimize import ValueGradient


def value_gradient(cells: OccupancyCells, *, bound: int) -> ValueGradient:
    """Log-likelihood and gradient by log-scale coefficients of lambda, logit-scale of r.

    ``cells.psi_design`` is the design of lambda, ``cells.p_design`` that of r.
    """
    numbers = np.arange(bound + 1, dtype=np.float64)
    log_factorials = gammaln(numbers + 1)

    def evaluate(theta: FloatArray) -> tuple[float, FloatArray]:
        k = cells.psi_design.shape[1]
        log_mean = cells.psi_design @ theta[:k]
        r_logit = cells.p_design @ theta[k:]
        with np.errstate(over="ignore"):
            mean = np.exp(log_mean)
        if not np.isfinite(mean).all():
            return -np.inf, np.zeros(len(theta))
        r = expit(r_logit)
        # Of N animals none calls with chance exp(missed), (G, J, bound + 1).
        missed = -np.logaddexp(0.0, r_logit)[:, :, None] * numbers
        with np.errstate(divide="ignore"):
            heard = np.log(-np.expm1(missed))
        detections = cells.detections[:, :, None]
        silent = (cells.trials - cells.detections)[:, :, None]
        with np.errstate(invalid="ignore"):
            by_visit = silent * missed + np.where(detections > 0, detections * heard, 0.0)
        joint = log_mean[:, None] * numbers - mean[:, None] - log_factorials + by_visit.sum(axis=1)
        value = logsumexp(joint, axis=1)
        if not np.isfinite(value).all():
            return -np.inf, np.zeros(len(theta))
        posterior = np.exp(joint - value[:, None])
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            gain = np.where(detections > 0, detections / np.expm1(-missed), 0.0)
            gain[:, :, 0] = 0.0
        pull = r * ((gain - silent) * numbers * posterior[:, None, :]).sum(axis=2)
        for_mean = cells.psi_design.T @ (cells.weight * (posterior @ numbers - mean))
        flat = cells.p_design.reshape(-1, cells.p_design.shape[-1])
        for_r = flat.T @ (cells.weight[:, None] * pull).ravel()
        return float(cells.weight @ value), np.concatenate([for_mean, for_r])

    return evaluate
