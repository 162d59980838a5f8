"""The trends of a program's species seen together.

Beside twelve species, one that seems to fall may do so by chance, and the steepest of them are
partly steep by luck. A second stage takes the trends as drawn from one distribution of species
(Dorazio & Royle 2005, JASA 100:389-398, there in one model with the surveys) and pulls each toward
the mean, the more the less it is known: the hierarchical normal model of Rubin 1981, Journal of
Educational Statistics 6:377-401. Its spread between species is averaged over with a flat prior, so
that few species do not make it too sure. A second answer: the false-discovery rate of Benjamini &
Hochberg 1995, JRSS B 57:289-300. Species share their nights and routes, which neither knows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from surveys.trends.estimates import (
    DID_NOT_CONVERGE,
    EDGE_OF_RANGE,
    FEW_CLUSTERS,
    JOINT_ENTRY_TOLD,
    MEMBERS_TOLD,
    POOR_FIT,
    STEPS_DIFFER,
    TOO_FEW_DATA,
    Estimate,
)
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.numerics.intervals import normal_quantile
from surveys.trends.numerics.roots import root

METHOD = "species-together"
INTERVAL = "averaged-over-spread"
# With fewer species a flat prior on their spread gives no proper answer (Gelman 2006, Bayesian
# Analysis 1:515-534).
FEWEST_SPECIES = 3
# Expected share of false ones among those that are told to change.
FALSE_DISCOVERY_RATE = 0.05
LEVEL = 0.95
# A change with one of these stands in tables, and is not told in words.
NOT_TOLD = frozenset(
    {
        DID_NOT_CONVERGE,
        EDGE_OF_RANGE,
        FEW_CLUSTERS,
        # Of a group, one entry is told; both together would count its animals twice.
        JOINT_ENTRY_TOLD,
        MEMBERS_TOLD,
        POOR_FIT,
        STEPS_DIFFER,
        TOO_FEW_DATA,
    }
)
_GRID = 400


@dataclass(frozen=True, kw_only=True)
class SharedTrend:
    """One species: ``own`` is its trend as told, ``shrunken`` the same pulled toward the others,
    both in percent per year. ``discovery`` is the lowest false-discovery rate at which it would be
    said to change, from 0 to 1."""

    species: str
    own: Estimate
    shrunken: Estimate
    discovery: float


@dataclass(frozen=True, kw_only=True)
class Community:
    """``species`` are those with a trend. ``mean`` is that of all species, in percent per year;
    ``fell`` and ``rose`` count species whose own interval lies on one side, ``by_chance`` how many
    would on either side if no species changed. ``discovered`` names those that still change at a
    false-discovery rate of 5%."""

    species: tuple[SharedTrend, ...]
    mean: Estimate
    fell: int
    rose: int
    by_chance: float
    discovered: tuple[str, ...]


def false_discovery_rates(chances: FloatArray) -> FloatArray:
    """The least rate of false discoveries at which each of some tests is one (Benjamini & Hochberg
    1995).

    Written out: importing ``scipy.stats`` takes every process that fits as long as many a fit.

    >>> false_discovery_rates(np.array([0.01, 0.04, 0.03])).round(2).tolist()
    [0.03, 0.04, 0.04]
    """
    order = np.argsort(chances)
    rates = chances[order] * len(chances) / np.arange(1, len(chances) + 1)
    discovery = np.empty(len(chances))
    discovery[order] = np.minimum(np.minimum.accumulate(rates[::-1])[::-1], 1.0)
    return discovery


def community_of(changes: Sequence[tuple[str, Estimate]]) -> Community | None:
    """The species of a program together.

    Parameters
    ----------
    changes
        Name of a species and the change of its share of sites, in percent per year with its 95%
        interval. Those that are not told are left out.

    Returns
    -------
    Community or None
        None with fewer than three trends.

    References
    ----------
    Rubin 1981, Journal of Educational Statistics 6:377-401; Benjamini & Hochberg 1995, JRSS B
    57:289-300.

    Examples
    --------
    >>> def change(value, half):
    ...     return Estimate(
    ...         name="", value=value, low=value - half, high=value + half, interval="", method="")
    >>> told = community_of(
    ...     [("a", change(-6.0, 2.0)), ("b", change(-1.0, 3.0)), ("c", change(1.0, 9.0))])
    >>> told.fell, told.rose, round(told.by_chance, 3)
    (1, 0, 0.075)
    >>> [round(species.shrunken.value, 1) for species in told.species]
    [-5.8, -1.3, -0.8]
    """
    known = [(name, change) for name, change in changes if is_told(change)]
    if len(known) < FEWEST_SPECIES:
        return None
    logs = np.array([np.log1p((change.value or 0.0) / 100) for _, change in known])
    errors = np.array([_error(change) for _, change in known])
    spreads, weights = spread_weights(logs, errors)
    means, variances, mean, mean_variance = _given_spread(logs, errors, spreads)
    chances = 2 * ndtr(-np.abs(logs / errors))
    discovery = false_discovery_rates(chances)
    shared = tuple(
        SharedTrend(
            species=name,
            own=change,
            shrunken=_mixture(
                "shrunken trend, % change in share of sites per year",
                means[:, k], variances[:, k], weights,
            ),
            discovery=float(discovery[k]),
        )
        for k, (name, change) in enumerate(known)
    )  # fmt: skip
    return Community(
        species=shared,
        mean=_mixture("mean trend of the species, % per year", mean, mean_variance, weights),
        fell=sum(change.high < 0 for _, change in known if change.high is not None),
        rose=sum(change.low > 0 for _, change in known if change.low is not None),
        by_chance=len(known) * (1 - LEVEL) / 2,
        discovered=tuple(s.species for s in shared if s.discovery <= FALSE_DISCOVERY_RATE),
    )


def spread_weights(values: FloatArray, errors: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Spreads between species on a grid, and the chance of each given values and their standard
    errors (S,), under a flat prior of the spread and of the mean."""
    farthest = 4 * float(np.ptp(values) + errors.min())
    spreads = np.linspace(0.0, farthest, _GRID + 1)[1:] - farthest / _GRID / 2
    variances = spreads[:, None] ** 2 + errors**2
    precision = (1 / variances).sum(axis=1)
    center = (values / variances).sum(axis=1) / precision
    logs = -0.5 * (
        np.log(variances).sum(axis=1)
        + np.log(precision)
        + ((values - center[:, None]) ** 2 / variances).sum(axis=1)
    )
    weights = np.exp(logs - logs.max())
    return spreads, weights / weights.sum()


def _given_spread(
    values: FloatArray, errors: FloatArray, spreads: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Means and variances of the species (G, S), and those of the mean of all (G,), for every
    spread: each species between its own value and the mean, by what each is known to."""
    total = spreads[:, None] ** 2 + errors**2
    precision = (1 / total).sum(axis=1)
    mean = (values / total).sum(axis=1) / precision
    pull = errors**2 / total
    means = pull * mean[:, None] + (1 - pull) * values
    variances = (1 - pull) * errors**2 + pull**2 / precision[:, None]
    return means, variances, mean, 1 / precision


def _mixture(name: str, means: FloatArray, variances: FloatArray, weights: FloatArray) -> Estimate:
    """The median and quantiles of a mixture of normals of the log change, in percent per year."""
    deviations = np.sqrt(variances)
    ends = float((means - 9 * deviations).min()), float((means + 9 * deviations).max())

    def quantile(share: float) -> float:
        def excess(at: float) -> float:
            return float(weights @ ndtr((at - means) / deviations)) - share

        return 100 * float(np.expm1(root(excess, *ends, xtol=1e-12)))

    low, value, high = (quantile(share) for share in ((1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2))
    return Estimate(
        name=name, value=value, low=low, high=high, interval=INTERVAL, method=METHOD, level=LEVEL
    )


def is_told(change: Estimate) -> bool:
    """Whether a change is told in words, by an arrow and among others: it has a value and limits,
    and no flag that puts them in doubt."""
    limits = (change.value, change.low, change.high)
    known = all(number is not None and number > -100 for number in limits)
    return known and not NOT_TOLD & set(change.flags)


def _error(change: Estimate) -> float:
    """Standard error of the log change per year, from its interval: a t interval of few routes or
    years counts as the normal one that is as wide."""
    low, high = np.log1p((change.low or 0.0) / 100), np.log1p((change.high or 0.0) / 100)
    return float((high - low) / (2 * normal_quantile(change.level)))
