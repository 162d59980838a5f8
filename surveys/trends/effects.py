"""What the chosen model says of sites and nights: odds ratios, and kinds of sites left silent."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import numpy as np
from scipy.optimize import brentq
from scipy.special import expit
from scipy.stats import chi2

from . import results
from .analyzed import (
    Effect,
    SilentKind,
)
from .choice import Choice
from .histories import Histories
from .kinds import EmptyKind
from .models.occupancy_estimates import coefficient_estimates
from .models.trend import (
    METHOD,
    usable_interval,
)
from .numerics.arrays import FloatArray
from .numerics.intervals import transform
from .results import Estimate

# By how much of a covariate its odds are told; 1 for all others.
STEPS: Mapping[str, float] = {"minutes after sunset": 60.0, "rain": 10.0}
# The season is a curve, which no single odds ratio tells.
_UNTOLD = {"intercept", "year", "night", "night squared"}


def effects(choice: Choice, *, level: float = 0.95) -> tuple[Effect, ...]:
    """Odds ratios of everything but year and night, clustered as the trend is."""
    trend = choice.trend
    if trend.fit.maximum is None:
        return ()
    interval, flags = usable_interval(trend, "clustered")
    found = []
    baselines = {name: term.baseline for term in choice.terms.values() for name in term.columns}
    for estimate in coefficient_estimates(trend.fit, level=level, interval=interval):
        part, name = estimate.name.split(": ", 1)
        if name in _UNTOLD or name.startswith("year "):
            continue
        step = STEPS.get(name, 1.0)
        odds = transform(estimate, partial(_odds, step), name=f"odds ratio, {name}")
        found.append(
            Effect(
                part=part,
                name=name,
                baseline=baselines.get(name, ""),
                step=step,
                odds=results.flagged(odds, *flags),
            )
        )
    return tuple(found)


def _odds(step: float, slope: float) -> float:
    return float(np.exp(step * slope))


def silent_kinds(
    choice: Choice, histories: Histories, *, level: float = 0.95
) -> tuple[SilentKind, ...]:
    """Kinds of sites where the species was never heard, and how much may have been missed there.

    The bound is where the likelihood of hearing nothing at all has fallen as far as a profile
    interval lets it, with detection as it was fitted elsewhere.
    """
    if not choice.empty:
        return ()
    missed = _missed(choice, histories)
    return tuple(
        SilentKind(name=kind.name, sites=kind.sites, occupancy=_bound(kind, missed, level))
        for kind in choice.empty
    )


def _bound(kind: EmptyKind, missed: FloatArray, level: float) -> Estimate:
    heard = 1 - missed[kind.rows & np.isfinite(missed)]
    drop = float(chi2.ppf(level, 1)) / 2

    def lost(share: float) -> float:
        return float(np.log1p(-share * heard).sum()) + drop

    high = float(brentq(lost, 0.0, 1.0)) if len(heard) and lost(1 - 1e-12) < 0 else 1.0
    return Estimate(
        name=f"occupancy, {kind.name}",
        value=0.0,
        low=0.0,
        high=high,
        interval="likelihood of silence",
        method=METHOD,
        flags=(results.EDGE_OF_RANGE, results.ONE_SIDED),
        level=level,
    )


def _missed(choice: Choice, histories: Histories) -> FloatArray:
    """Chance of hearing nothing in the season at an occupied site (rows,), at mean detection
    where rows were out of the search."""
    fit = choice.trend.fit
    k = len(fit.psi.names)
    line = fit.p.matrix @ fit.coefficients[k:]
    visits = line if line.ndim == 2 else np.repeat(line[:, None], fit.history.shape[1], axis=1)
    mean = float(expit(visits[~np.isnan(fit.history)]).mean())
    listened = (~np.isnan(histories.detected)).sum(axis=1)
    missed: FloatArray = np.where(listened > 0, (1 - mean) ** listened, np.nan)
    return missed
