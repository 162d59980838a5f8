"""What may have been missed where a species was never heard, against the exact binomial limit.

Clopper & Pearson 1934, Biometrika 26:404-413, one-sided, as scipy computes it; for many sites the
rule of three (Hanley & Lippman-Hand 1983, JAMA 249:1743-1745; from memory).
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binomtest

from surveys.trends.effects import highest_silent_share
from surveys.trends.histories import Histories
from surveys.trends.models.occupancy import fit_occupancy
from surveys.trends.models.strata import Stratum, weighted_levels, weighted_shares
from surveys.trends.models.year_levels import YearLevels
from surveys.trends.silent_regions import SurveyedRegion, with_missed


@pytest.mark.parametrize("sites", [1, 3, 12, 60])
def test_sites_where_it_cannot_be_missed_have_the_exact_limit(sites):
    exact = binomtest(0, sites, alternative="less").proportion_ci(0.95, "exact").high
    assert highest_silent_share(np.ones(sites)) == pytest.approx(exact, abs=1e-9)


def test_twelve_stops_never_heard_may_be_22_percent():
    assert highest_silent_share(np.ones(12)) == pytest.approx(0.2209, abs=5e-5)


def test_the_rule_of_three():
    assert highest_silent_share(np.ones(500)) == pytest.approx(3 / 500, rel=0.01)


def test_half_the_chance_to_hear_doubles_what_may_be_missed():
    """With a share x and a chance h, silence at a site has 1 - x h."""
    whole = highest_silent_share(np.ones(40))
    assert highest_silent_share(np.full(40, 0.5)) == pytest.approx(2 * whole, rel=1e-9)


@pytest.mark.parametrize("alike", [1.0, 2.0, 5.0])
def test_stops_that_are_alike_count_as_fewer(alike):
    """Their effective number is that of the stops by the design effect (Kish 1965, Survey Sampling,
    ch. 8; from memory)."""
    exact = binomtest(0, 12, alternative="less").proportion_ci(0.95, "exact").high
    stops = np.ones(round(12 * alike))
    assert highest_silent_share(stops, alike=alike) == pytest.approx(exact, abs=1e-9)


def region(heard, *, routes, weight=1.0, levels=None):
    """Ten stops a route, one season, two visits; a level of 0.3 whose variance is twice that of
    independent stops unless others are given."""
    history = np.asarray(heard, dtype=float)
    rows = np.arange(10 * routes)
    known = YearLevels(
        years=np.array([2024]), levels=np.array([-0.85]), covariance=np.array([[0.04]]),
        information=np.array([50.0]), offsets=np.zeros(1), part=1.0, routes=routes,
        routes_heard=routes, sites_heard=30, seasons_heard=int(history.any(axis=1).sum()),
        within_routes=False, flags=(),
    )  # fmt: skip
    return SurveyedRegion(
        stratum=Stratum(weight=weight, levels=known),
        histories=Histories(
            site=rows, cluster=rows // 10, season_year=np.full(len(rows), 2024),
            detected=history, call_index=history, night=np.full(history.shape, np.nan),
        ),
        fit=fit_occupancy(history),
    )  # fmt: skip


def test_a_silent_region_has_the_limit_of_its_stops_as_they_are_alike_elsewhere():
    """Heard at a third of the stops, on both visits: it cannot be missed. 40 silent stops count as
    20, because the errors of the level are twice those of independent stops."""
    there = np.repeat(np.arange(60) % 3 == 0, 2).reshape(-1, 2)
    heard, silent = with_missed([region(there, routes=6), region(np.zeros((40, 2)), routes=4)])
    assert heard.most is None
    exact = binomtest(0, 20, alternative="less").proportion_ci(0.95, "exact").high
    assert silent.most == pytest.approx([exact], abs=1e-6)
    ends = [share.high for _, share in weighted_shares(weighted_levels([heard, silent]))]
    sure = [
        share.high
        for _, share in weighted_shares(weighted_levels([heard, replace(silent, most=None)]))
    ]
    assert ends == pytest.approx([sure[0] + exact / 2], abs=1e-6)


def test_routes_bound_how_few_stops_may_count():
    """However alike stops are, those of different routes are apart: four routes, not fewer."""
    there = np.repeat(np.arange(60) % 3 == 0, 2).reshape(-1, 2)
    one = region(there, routes=6)
    levels = replace(one.stratum.levels, information=np.array([5000.0]))
    unlike = replace(one, stratum=replace(one.stratum, levels=levels))
    _, silent = with_missed([unlike, region(np.zeros((40, 2)), routes=4)])
    exact = binomtest(0, 4, alternative="less").proportion_ci(0.95, "exact").high
    assert silent.most == pytest.approx([exact], abs=1e-6)


def test_too_few_sites_bound_nothing():
    assert highest_silent_share(np.full(2, 0.3)) == 1.0
    assert highest_silent_share(np.array([])) == 1.0
