"""Yearly shares of a whole program from strata that were surveyed unequally.

The share of a program is the mean of its strata's shares by their weights, and its variance the
sum of theirs by the squares of the weights (Cochran 1977, Sampling Techniques, 3rd ed., theorems
5.1 and 5.2). Each stratum has yearly levels of its own, so how many of its routes were run in a
year moves how well its share is known, and not its weight. Covariances go through the logit by the
delta method; degrees of freedom are those of Cochran's section 5.4 (after Satterthwaite 1946).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from scipy.special import expit, logit

from surveys.trends.estimates import Estimate
from surveys.trends.models.year_levels import YearLevels
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.numerics.intervals import t_quantile

METHOD = "weighted-strata"
INTERVAL = "routes-within-strata"


@dataclass(frozen=True, kw_only=True)
class Stratum:
    """Yearly levels of one stratum, and its weight; weights are relative to each other.

    Where the species was never heard the share is 0, whatever the levels are, and ``most`` (T,) are
    upper limits of the share of each year; without these it has no error.
    """

    weight: float
    levels: YearLevels
    most: FloatArray | None = None

    @property
    def silent(self) -> bool:
        """Whether the species was never heard in it."""
        return self.levels.seasons_heard == 0

    def shares(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Share of sites at levels (T,), the mean over its rows, and its slope there."""
        chance = expit(at[:, None] + self.levels.offsets)
        slope = (chance * (1 - chance)).mean(axis=1)
        return chance.mean(axis=1) * self.levels.part, slope * self.levels.part


@dataclass(frozen=True, kw_only=True)
class WeightedLevels:
    """``levels`` of the program on the logit scale, for the years in which every stratum has one.
    ``parts`` (H, T, T) is what each stratum that is not silent adds to their covariance, ``routes``
    (H,) the number of routes behind it. ``missed`` (T,) is the share of the program that silent
    strata may add."""

    levels: YearLevels
    parts: FloatArray
    routes: FloatArray
    missed: FloatArray

    def degrees(self, contrast: FloatArray) -> float:
        """Degrees of freedom by routes of a contrast (T,) of the levels."""
        variances = np.einsum("t,hts,s->h", contrast, self.parts, contrast)
        total, squares = variances.sum(), variances**2 / (self.routes - 1)
        return float(total**2 / squares.sum()) if total > 0 else 1.0


def weighted_levels(strata: Sequence[Stratum]) -> WeightedLevels:
    """Yearly levels of a program from those of its strata.

    Parameters
    ----------
    strata
        At least one in which the species was heard; each that is not silent has a covariance.

    Returns
    -------
    WeightedLevels

    Raises
    ------
    ValueError
        Where weights are not positive, or a stratum has no covariance, or none was heard.

    References
    ----------
    Cochran 1977, Sampling Techniques, 3rd ed., ch. 5.

    Examples
    --------
    >>> def levels(share):
    ...     return YearLevels(
    ...         years=np.arange(2020, 2022), levels=np.full(2, logit(share)),
    ...         covariance=np.eye(2) * 0.04, information=np.full(2, 25.0), offsets=np.zeros(1),
    ...         part=1.0, routes=8, routes_heard=8, sites_heard=40, seasons_heard=80,
    ...         within_routes=False, flags=())
    >>> whole = weighted_levels(
    ...     [Stratum(weight=3, levels=levels(0.2)), Stratum(weight=1, levels=levels(0.6))])
    >>> expit(whole.levels.levels).round(3).tolist()
    [0.3, 0.3]
    """
    weights = np.array([stratum.weight for stratum in strata], dtype=np.float64)
    heard = [stratum for stratum in strata if not stratum.silent]
    if not heard or not np.all(weights > 0):
        raise ValueError("strata: expected positive weights and a stratum with the species")
    years = reduce(np.intersect1d, (stratum.levels.years for stratum in strata))
    share, missed = np.zeros(len(years)), np.zeros(len(years))
    for stratum in strata:
        if stratum.silent and stratum.most is not None:
            at = np.searchsorted(stratum.levels.years, years)
            missed += stratum.weight / weights.sum() * stratum.most[at]
    slopes, covariances, own = [], [], []
    for stratum in heard:
        if stratum.levels.covariance is None:
            raise ValueError("strata: a stratum has no covariance")
        at = np.searchsorted(stratum.levels.years, years)
        weight = stratum.weight / weights.sum()
        shares, slope = stratum.shares(stratum.levels.levels[at])
        share += weight * shares
        slopes.append(weight * slope)
        covariances.append(stratum.levels.covariance[np.ix_(at, at)])
        own.append(1 / stratum.levels.information[at])
    scaled = np.array(slopes) / (share * (1 - share))
    parts = np.einsum("ht,hts,hs->hts", scaled, np.array(covariances), scaled)
    counts = [stratum.levels for stratum in strata]
    return WeightedLevels(
        parts=parts,
        missed=missed,
        routes=np.array([stratum.levels.routes for stratum in heard], dtype=np.float64),
        levels=YearLevels(
            years=years,
            levels=logit(share),
            covariance=parts.sum(axis=0),
            information=1 / (scaled**2 * np.array(own)).sum(axis=0),
            offsets=np.zeros(1),
            part=1.0,
            routes=sum(one.routes for one in counts),
            routes_heard=sum(one.routes_heard for one in counts),
            sites_heard=sum(one.sites_heard for one in counts),
            seasons_heard=sum(one.seasons_heard for one in counts),
            within_routes=any(one.within_routes for one in counts),
            flags=(),
        ),
    )


def weighted_shares(
    whole: WeightedLevels, *, flags: tuple[str, ...] = (), confidence: float = 0.95
) -> tuple[tuple[int, Estimate], ...]:
    """The share of the program in each season year, with its interval; the upper end adds what
    silent strata may hold."""
    estimates = []
    errors = np.sqrt(np.einsum("htt->t", whole.parts))
    for place, year in enumerate(whole.levels.years.tolist()):
        degrees = whole.degrees(np.eye(len(errors))[place])
        level = float(whole.levels.levels[place])
        half = t_quantile(confidence, degrees) * float(errors[place])
        value, low, high = (float(expit(at)) for at in (level, level - half, level + half))
        estimates.append(
            (
                year,
                Estimate(
                    name=f"share of the program {year}",
                    value=value,
                    low=low,
                    high=min(high + float(whole.missed[place]), 1.0),
                    interval=INTERVAL,
                    method=METHOD,
                    flags=flags,
                    level=confidence,
                ),
            )
        )
    return tuple(estimates)
