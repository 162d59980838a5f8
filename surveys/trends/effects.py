"""What the chosen model says of sites and nights: odds ratios, and kinds of sites never heard."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import numpy as np
from scipy.optimize import brentq
from scipy.special import expit
from scipy.stats import chi2

from surveys.trends import estimates
from surveys.trends.estimates import Estimate
from surveys.trends.histories import Histories
from surveys.trends.model_selection import Choice
from surveys.trends.models.occupancy_estimates import coefficient_estimates
from surveys.trends.models.trend import METHOD, usable_interval
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.numerics.intervals import transform
from surveys.trends.site_covariates import EmptyKind
from surveys.trends.species_result import Effect, SilentKind

# The step of a covariate that its odds ratio is for; 1 for all others.
STEPS: Mapping[str, float] = {"minutes after sunset": 60.0, "rain": 10.0}
# The season is a curve, which no single odds ratio describes.
_WITHOUT_ODDS = {"intercept", "year", "night", "night squared"}


def odds_ratios(choice: Choice, *, level: float = 0.95) -> tuple[Effect, ...]:
    """Odds ratios of everything but year and night, clustered as the trend is."""
    trend = choice.trend
    if trend.fit.maximum is None:
        return ()
    interval, flags = usable_interval(trend, "clustered")
    effects = []
    baselines = {
        name: covariate.baseline
        for covariate in choice.site_covariates.values()
        for name in covariate.columns
    }
    for estimate in coefficient_estimates(trend.fit, level=level, interval=interval):
        part, name = estimate.name.split(": ", 1)
        if name in _WITHOUT_ODDS or name.startswith("year "):
            continue
        step = STEPS.get(name, 1.0)
        odds = transform(estimate, partial(_odds, step), name=f"odds ratio, {name}")
        effects.append(
            Effect(
                part=part,
                name=name,
                baseline=baselines.get(name, ""),
                step=step,
                odds=estimates.flagged(odds, *flags),
            )
        )
    return tuple(effects)


def _odds(step: float, slope: float) -> float:
    return float(np.exp(step * slope))


def silent_kinds(
    choice: Choice, histories: Histories, *, level: float = 0.95
) -> tuple[SilentKind, ...]:
    """Kinds of sites where the species was never heard, and how much may have been missed there.

    The upper limit is where the likelihood of hearing nothing at all has fallen as far as a profile
    interval allows, with detection as it was fitted elsewhere.
    """
    if not choice.empty:
        return ()
    missed = _chance_missed(choice, histories)
    return tuple(
        SilentKind(name=kind.name, sites=kind.sites, occupancy=_bound(kind, missed, level))
        for kind in choice.empty
    )


def _bound(kind: EmptyKind, missed: FloatArray, level: float) -> Estimate:
    heard = 1 - missed[kind.rows & np.isfinite(missed)]
    drop = float(chi2.ppf(level, 1)) / 2

    def margin(share: float) -> float:
        return float(np.log1p(-share * heard).sum()) + drop

    high = float(brentq(margin, 0.0, 1.0)) if len(heard) and margin(1 - 1e-12) < 0 else 1.0
    return Estimate(
        name=f"occupancy, {kind.name}",
        value=0.0,
        low=0.0,
        high=high,
        interval="likelihood of silence",
        method=METHOD,
        flags=(estimates.EDGE_OF_RANGE, estimates.ONE_SIDED),
        level=level,
    )


def _chance_missed(choice: Choice, histories: Histories) -> FloatArray:
    """Chance of hearing nothing in the season at an occupied site (rows,), at mean detection.

    NaN where nobody listened.
    """
    fit = choice.trend.fit
    k = len(fit.psi.names)
    line = fit.p.matrix @ fit.coefficients[k:]
    visits = line if line.ndim == 2 else np.repeat(line[:, None], fit.history.shape[1], axis=1)
    mean = float(expit(visits[~np.isnan(fit.history)]).mean())
    listened = (~np.isnan(histories.detected)).sum(axis=1)
    missed: FloatArray = np.where(listened > 0, (1 - mean) ** listened, np.nan)
    return missed
