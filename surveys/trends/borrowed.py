"""Shares of a species that was never visited twice in a season, by the detection of the others.

One visit a season says how often a species was heard, and nothing of how often it was missed. The
chance to hear it on a visit is then taken as one more draw from the chances of the other species
of the program in that season: normal on the logit scale, with a mean and a spread between species
(Dorazio & Royle 2005, JASA 100:389-398; Zipkin, DeWan & Royle 2009, Journal of Applied Ecology
46:815-822, both from memory). There species and surveys are in one model; here the chances are
estimated first, and their spread is averaged over with a flat prior, as in ``community``. The share
carries the whole of that spread, so its interval is wide. No trend is made of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit, logit, ndtri, xlog1py

from surveys.trends.community import spread_weights
from surveys.trends.estimates import (
    DETECTION_BORROWED,
    DID_NOT_CONVERGE,
    EDGE_OF_RANGE,
    FEW_CLUSTERS,
    JOINT_ENTRY_TOLD,
    MEMBERS_TOLD,
    NO_REPEAT_VISITS,
    NOT_IDENTIFIED,
    POOR_FIT,
    Estimate,
    merge_flags,
)
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.numerics.intervals import normal_quantile
from surveys.trends.species_result import SpeciesResult, SpeciesYear

METHOD = "borrowed-detection"
INTERVAL = "averaged-over-species"
# With fewer species their spread is hardly known (common practice, no source).
FEWEST_LENDERS = 5
LEVEL = 0.95
# What puts the detection of a season in doubt, or counts the animals of another entry again.
_NOT_LENT = frozenset(
    {DID_NOT_CONVERGE, EDGE_OF_RANGE, FEW_CLUSTERS, NOT_IDENTIFIED, NO_REPEAT_VISITS}
)
_SPECIES_NOT_LENT = frozenset({JOINT_ENTRY_TOLD, MEMBERS_TOLD, POOR_FIT})
_CHANCES, _SHARES = 200, 500
# On the logit scale.
_FARTHEST = 12.0


@dataclass(frozen=True, kw_only=True)
class BorrowedShare:
    """The share of sites of one season and the chance to hear the species on a visit, each with a
    95% interval from 0 to 1; ``lenders`` counts the species behind that chance."""

    share: Estimate
    detection: Estimate
    lenders: int


def with_borrowed(results: Sequence[SpeciesResult]) -> list[SpeciesResult]:
    """The species of a program, for one kind of site and one region; those without repeat visits in
    any season with shares by the detection of the others.

    Only seasons in which at least five others have a detection of their own are changed.
    """
    return [
        replace(result, years=tuple(_lent(year, results) for year in result.years))
        if needs_detection(result)
        else result
        for result in results
    ]


def needs_detection(result: SpeciesResult) -> bool:
    """Whether no site was visited twice in any season, so that nothing of its own tells how often
    the species is missed."""
    return bool(result.years) and all(
        NO_REPEAT_VISITS in year.occupancy.flags for year in result.years
    )


def borrowed_share(heard: Estimate, lenders: Sequence[Estimate]) -> BorrowedShare:
    """The share of sites with a species, from where it was heard and how well others are.

    Parameters
    ----------
    heard
        The share of sites where it was heard on their only visit, with its Wilson interval, by
        route where routes are alike.
    lenders
        The chance to hear each of at least three other species on a visit, strictly between 0 and
        1, with an interval on the logit scale.

    Returns
    -------
    BorrowedShare
        Medians, and the middle 95% of what the data leave likely; a share is beforehand as likely
        as by the prior of Jeffreys, a beta distribution with 1/2 and 1/2.

    References
    ----------
    Dorazio & Royle 2005, JASA 100:389-398.

    Examples
    --------
    >>> from surveys.trends.numerics.intervals import wilson
    >>> def chance(low, value, high):
    ...     return Estimate(name="", value=value, low=low, high=high, interval="", method="")
    >>> others = [chance(0.4, 0.5, 0.6)] * 4 + [chance(0.3, 0.4, 0.5), chance(0.5, 0.6, 0.7)]
    >>> borrowed = borrowed_share(wilson(20, 80), others)
    >>> round(borrowed.share.value, 2), round(borrowed.share.low, 2), round(borrowed.share.high, 2)
    (0.52, 0.32, 0.92)
    """
    chances, weights = _chances(lenders)
    trials = _independent_trials(heard)
    successes = (heard.value or 0.0) * trials
    # Cells of equal weight under the prior of Jeffreys.
    cells = np.sin(np.pi / 2 * (np.arange(_SHARES) + 0.5) / _SHARES) ** 2
    both = cells[:, None] * chances
    likelihoods = successes * np.log(both) + xlog1py(trials - successes, -both)
    likelihood = np.exp(likelihoods - likelihoods.max()) @ weights
    share = _quantiles("occupancy", cells, likelihood / likelihood.sum())
    detection = _quantiles("detection", chances, weights)
    return BorrowedShare(share=share, detection=detection, lenders=len(lenders))


def _lent(year: SpeciesYear, results: Sequence[SpeciesResult]) -> SpeciesYear:
    """The season with what the others tell, where enough of them do; as it was where the species
    was not heard or one route stands for all."""
    heard = year.naive_by_route
    if heard is None or not year.sites_heard or FEW_CLUSTERS in heard.flags:
        return year
    lenders = [
        other.detection
        for result in results
        if not _SPECIES_NOT_LENT & set(result.trend.occupancy.flags)
        for other in result.years
        if other.season_year == year.season_year and can_lend(other.detection)
    ]
    if len(lenders) < FEWEST_LENDERS:
        return year
    borrowed = borrowed_share(heard, lenders)
    share = _flagged(borrowed.share, year.occupancy)
    return replace(
        year,
        occupancy=share,
        occupancy_by_route=share,
        detection=_flagged(borrowed.detection, year.detection),
        borrowed_from=borrowed.lenders,
    )


def _flagged(borrowed: Estimate, own: Estimate) -> Estimate:
    """The flags of the season stay, but for the one that says there is no number."""
    kept = tuple(flag for flag in own.flags if flag != NOT_IDENTIFIED)
    return replace(borrowed, flags=merge_flags((DETECTION_BORROWED,), kept))


def can_lend(detection: Estimate) -> bool:
    """Whether a chance of detection is known well enough to be one of those that others borrow."""
    low, high = detection.low, detection.high
    known = detection.value is not None and low is not None and high is not None
    return known and 0 < (low or 0) < (high or 0) < 1 and not _NOT_LENT & set(detection.flags)


def _chances(lenders: Sequence[Estimate]) -> tuple[FloatArray, FloatArray]:
    """Chances to hear one more species, and how likely each is: for every spread between species
    the same quantiles of a normal distribution, weighted as the spread is."""
    values = logit(np.array([lender.value for lender in lenders], dtype=np.float64))
    limits = logit(np.array([(lender.low, lender.high) for lender in lenders], dtype=np.float64))
    level = lenders[0].level
    errors = (limits[:, 1] - limits[:, 0]) / (2 * normal_quantile(level))
    spreads, weights = spread_weights(values, errors)
    precision = 1 / (spreads[:, None] ** 2 + errors**2)
    mean = (precision @ values) / precision.sum(axis=1)
    deviation = np.sqrt(1 / precision.sum(axis=1) + spreads**2)
    at = ndtri((np.arange(_CHANCES) + 0.5) / _CHANCES)
    drawn = mean[:, None] + deviation[:, None] * at
    return _in_cells(drawn.ravel(), np.repeat(weights / _CHANCES, _CHANCES))


def _in_cells(logits: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Chances at the middle of equal steps on the logit scale, with the weight that falls in
    each."""
    bounded = np.clip(logits, -_FARTHEST, _FARTHEST)
    summed, ends = np.histogram(bounded, bins=2 * _CHANCES, weights=weights)
    chances: FloatArray = expit((ends[1:] + ends[:-1]) / 2)
    return chances, summed


def _independent_trials(heard: Estimate) -> float:
    """As many trials as the Wilson interval of a share is of: the product of its limits is that of
    the share squared by 1 + z²/n, and so for the share without."""
    share, low, high = heard.value or 0.0, heard.low or 0.0, heard.high or 0.0
    ratio = (share**2 + (1 - share) ** 2) / (low * high + (1 - low) * (1 - high))
    return normal_quantile(heard.level) ** 2 / (ratio - 1)


def _quantiles(name: str, values: FloatArray, weights: FloatArray) -> Estimate:
    """The median and the middle 95% of a distribution over values in order."""
    below = np.cumsum(weights) - weights / 2
    tails = ((1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2)
    low, value, high = (float(at) for at in np.interp(tails, below, values))
    return Estimate(
        name=name, value=value, low=low, high=high, interval=INTERVAL, method=METHOD, level=LEVEL
    )
