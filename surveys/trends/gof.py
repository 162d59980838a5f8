"""Does the occupancy model fit? Parametric bootstrap and residuals by group.

MacKenzie & Bailey 2004, Journal of Agricultural, Biological, and Environmental Statistics
9:300-318.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit

from . import results
from .arrays import FloatArray, codes_of
from .intervals import wilson
from .occupancy import OccupancyFit, fit_occupancy_designs
from .results import Estimate, merge_flags, not_estimable

METHOD = "parametric bootstrap of Pearson's X2 (MacKenzie & Bailey 2004)"
# Common practice: a p below this is called a poor fit.
_POOR = 0.05


@dataclass(frozen=True, kw_only=True)
class GoodnessOfFit:
    """Pearson's X2 of the histories; ``p``, the share of simulated surveys that fit as badly; and
    ``c_hat``, how many times larger X2 is than the model expects."""

    statistic: float | None
    p: Estimate
    c_hat: Estimate


@dataclass(frozen=True, kw_only=True)
class ResidualGroup:
    """Detections of a group of rows, observed and expected, and their standardised difference."""

    label: object
    observed: float
    expected: float
    z: float | None


def goodness_of_fit(fit: OccupancyFit, *, seed: int, replicates: int = 200) -> GoodnessOfFit:
    """Compare the fit with surveys simulated from it and refitted.

    Simulated surveys keep the missing visits and covariates of the data.
    """
    if fit.maximum is None or results.NOT_IDENTIFIED in fit.flags:
        return GoodnessOfFit(
            statistic=None,
            p=not_estimable("goodness of fit, p", method=METHOD, flags=fit.flags),
            c_hat=not_estimable("overdispersion, c-hat", method=METHOD, flags=fit.flags),
        )
    observed = pearson(fit)
    rng = np.random.default_rng(seed)
    simulated = []
    for _ in range(replicates):
        again = fit_occupancy_designs(simulate(fit, rng), psi=fit.psi, p=fit.p)
        if again.maximum is not None:
            simulated.append(pearson(again))
    worse = sum(value >= observed for value in simulated)
    # The data count as one of the surveys, so that p is never 0.
    share = wilson(worse + 1, len(simulated) + 1, name="goodness of fit, p")
    poor = (results.POOR_FIT,) if share.value is not None and share.value < _POOR else ()
    flags = merge_flags(fit.flags, poor)
    mean = float(np.mean(simulated)) if simulated else 0.0
    return GoodnessOfFit(
        statistic=observed,
        p=Estimate(
            name=share.name,
            value=share.value,
            low=share.low,
            high=share.high,
            interval=f"Wilson, {len(simulated)} simulated surveys",
            method=METHOD,
            flags=flags,
        ),
        c_hat=Estimate(
            name="overdispersion, c-hat",
            value=observed / mean if mean else None,
            low=None,
            high=None,
            interval="none",
            method=METHOD,
            flags=flags,
        ),
    )


def pearson(fit: OccupancyFit) -> float:
    """Pearson's X2 over detection histories, each pattern of missing visits on its own.

    Histories that nobody had add their expected number.
    """
    psi, p = _chances(fit)
    seen = ~np.isnan(fit.history)
    patterns, cohort = np.unique(seen, axis=0, return_inverse=True)
    total = 0.0
    for code in range(len(patterns)):
        rows = cohort.ravel() == code
        distinct, observed = np.unique(np.nan_to_num(fit.history[rows]), axis=0, return_counts=True)
        expected = _history_chances(distinct, psi[rows], p[rows], patterns[code]).sum(axis=0)
        total += float(((observed - expected) ** 2 / expected).sum())
        total += max(float(rows.sum() - expected.sum()), 0.0)
    return total


def simulate(fit: OccupancyFit, rng: np.random.Generator) -> FloatArray:
    """Histories drawn from the fitted model, with the missing visits of the data."""
    psi, p = _chances(fit)
    occupied = rng.random(len(psi)) < psi
    heard = (rng.random(p.shape) < p) & occupied[:, None]
    return np.where(np.isnan(fit.history), np.nan, heard.astype(np.float64))


def residuals_by_group(fit: OccupancyFit, groups: ArrayLike) -> tuple[ResidualGroup, ...]:
    """Detections of each group against what the model expects; |z| above 3 is worth a look.

    ``groups`` has one label a row used in the fit. The variance is that of the fitted model:
    rows of one site in several seasons count as independent.
    """
    labels, codes = codes_of(groups, name="groups", length=fit.rows)
    if fit.maximum is None:
        return ()
    psi, p = _chances(fit)
    seen = ~np.isnan(fit.history)
    if_occupied = np.where(seen, p, 0.0).sum(axis=1)
    within = np.where(seen, p * (1 - p), 0.0).sum(axis=1)
    expected = psi * if_occupied
    variance = psi * within + psi * (1 - psi) * if_occupied**2
    sums = [
        np.bincount(codes, weights=values, minlength=len(labels))
        for values in (np.nansum(fit.history, axis=1), expected, variance)
    ]
    return tuple(
        ResidualGroup(
            label=label,
            observed=float(o),
            expected=float(e),
            z=float((o - e) / np.sqrt(v)) if v > 0 else None,
        )
        for label, o, e, v in zip(labels.tolist(), *sums, strict=True)
    )


def _chances(fit: OccupancyFit) -> tuple[FloatArray, FloatArray]:
    """Fitted occupancy (rows,) and detection (rows, visits)."""
    k = len(fit.psi.names)
    psi = expit(fit.psi.matrix @ fit.coefficients[:k])
    line = fit.p.matrix @ fit.coefficients[k:]
    p = expit(line if line.ndim == 2 else np.repeat(line[:, None], fit.history.shape[1], axis=1))
    return psi, p


def _history_chances(
    histories: FloatArray, psi: FloatArray, p: FloatArray, seen: FloatArray
) -> FloatArray:
    """Chance of each history (H, visits) at each row, (rows, H); unseen visits do not count."""
    p = np.where(seen, p, 0.0)
    heard = np.ones((len(psi), len(histories)))
    for visit in range(histories.shape[1]):
        yes = histories[None, :, visit] == 1
        heard = heard * np.where(yes, p[:, visit, None], 1 - p[:, visit, None])
    silent = ~histories.any(axis=1)
    chances: FloatArray = psi[:, None] * heard + (1 - psi[:, None]) * silent
    return chances
