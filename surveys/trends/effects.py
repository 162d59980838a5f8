"""What the chosen model says of sites and nights: odds ratios, and kinds of sites never heard."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import numpy as np

from surveys.trends import estimates
from surveys.trends.estimates import Estimate
from surveys.trends.histories import Histories
from surveys.trends.model_selection import Choice
from surveys.trends.models.occupancy import visit_chances
from surveys.trends.models.occupancy_estimates import coefficient_estimates
from surveys.trends.models.trend import METHOD, usable_interval
from surveys.trends.numerics.arrays import AnyArray, FloatArray
from surveys.trends.numerics.intervals import transform
from surveys.trends.numerics.roots import root
from surveys.trends.site_covariates import EmptyKind
from surveys.trends.species_result import Effect, SilentKind

# The step of a covariate that its odds ratio is for; 1 for all others.
STEPS: Mapping[str, float] = {"minutes after sunset": 60.0, "rain": 10.0}
# The season is a curve, which no single odds ratio describes.
# Keeps the log of a chance of nothing finite.
_LEAST_CHANCE = 1e-300
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

    The upper limit is the share at which hearing nothing at any of these sites in any of their
    seasons has a chance of one in twenty, with detection as it was fitted elsewhere. A site counts
    once, however many seasons it has. By route, the sites of a route are all with the species or
    all without it.
    """
    if not choice.empty:
        return ()
    missed = _chance_missed(choice, histories)
    return tuple(
        SilentKind(
            name=kind.name,
            sites=kind.sites,
            occupancy=_bound(kind, missed, histories.site, level),
            by_route=_bound(kind, missed, histories.cluster, level),
        )
        for kind in choice.empty
    )


def _bound(kind: EmptyKind, missed: FloatArray, units: AnyArray, level: float) -> Estimate:
    """What may have been missed at the independent ``units`` (rows,) of a kind of site."""
    rows = kind.rows & np.isfinite(missed)
    _, unit = np.unique(units[rows], return_inverse=True)
    unheard = np.zeros(int(unit.max(initial=-1)) + 1)
    np.add.at(unheard, unit, np.log(np.maximum(missed[rows], _LEAST_CHANCE)))
    return Estimate(
        name=f"occupancy, {kind.name}",
        value=0.0,
        low=0.0,
        high=highest_silent_share(1 - np.exp(unheard), level=level),
        interval="chance-of-silence",
        method=METHOD,
        flags=(estimates.EDGE_OF_RANGE, estimates.ONE_SIDED),
        level=level,
    )


def highest_silent_share(heard: FloatArray, *, level: float = 0.95, alike: float = 1.0) -> float:
    """The share of units at which silence at all of them has a chance of ``1 - level``.

    ``heard`` (units,) are the chances of hearing the species at a unit that has it; with chances of
    1 this is the upper limit of Clopper and Pearson with all error on one side. ``alike`` units
    count as one. 1 where even a species that is everywhere may be missed so.

    Examples
    --------
    >>> round(highest_silent_share(np.ones(12)), 3)
    0.221
    """

    def margin(share: float) -> float:
        return float(np.log1p(-share * heard).sum()) / alike - float(np.log1p(-level))

    if not len(heard) or margin(1 - 1e-12) > 0:
        return 1.0
    return root(margin, 0.0, 1 - 1e-12)


def _chance_missed(choice: Choice, histories: Histories) -> FloatArray:
    """Chance of hearing nothing in the season at an occupied site (rows,), at mean detection.

    NaN where nobody listened.
    """
    fit = choice.trend.fit
    mean = float(np.nanmean(np.where(np.isnan(fit.history), np.nan, visit_chances(fit))))
    listened = (~np.isnan(histories.detected)).sum(axis=1)
    missed: FloatArray = np.where(listened > 0, (1 - mean) ** listened, np.nan)
    return missed
