"""Yearly shares of a program from those of its strata."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit, logit

from surveys.trends.models.strata import Stratum, weighted_levels, weighted_shares
from surveys.trends.models.year_levels import YearLevels

YEARS = np.arange(2015, 2025)


def levels(share, *, variance=0.04, routes=12, years=YEARS, **changes):
    count = len(years)
    return YearLevels(
        **{
            "years": years,
            "levels": np.broadcast_to(logit(share), count),
            "covariance": variance * np.eye(count),
            "information": np.full(count, 30.0),
            "offsets": np.zeros(1),
            "part": 1.0,
            "routes": routes,
            "routes_heard": routes,
            "sites_heard": 50,
            "seasons_heard": 500,
            "within_routes": False,
            "flags": (),
            **changes,
        }
    )


def shares_of(*strata):
    whole = weighted_levels([Stratum(weight=weight, levels=of) for weight, of in strata])
    return expit(whole.levels.levels)


def test_the_share_is_the_weighted_mean_of_shares_and_not_of_logits():
    assert shares_of((1, levels(0.1)), (3, levels(0.7))) == pytest.approx(np.full(10, 0.55))


def test_weights_are_relative():
    a, b = levels(0.1), levels(0.7)
    assert shares_of((2, a), (6, b)) == pytest.approx(shares_of((1, a), (3, b)))


def test_a_stratum_that_is_less_known_moves_the_interval_and_not_the_share():
    a, b = levels(0.1), levels(0.7)
    vague = levels(0.7, variance=0.4)
    sure = weighted_levels([Stratum(weight=1, levels=a), Stratum(weight=1, levels=b)])
    unsure = weighted_levels([Stratum(weight=1, levels=a), Stratum(weight=1, levels=vague)])
    assert sure.levels.levels == pytest.approx(unsure.levels.levels)
    (_, narrow), (_, wide) = weighted_shares(sure)[0], weighted_shares(unsure)[0]
    assert wide.high - wide.low > 1.5 * (narrow.high - narrow.low)


def test_sites_that_cannot_hold_the_species_count_as_empty():
    assert shares_of((1, levels(0.4, part=0.5)), (1, levels(0.4))) == pytest.approx(
        np.full(10, 0.3)
    )


def test_covariates_of_the_rows_enter_the_share_of_a_stratum():
    offsets = np.array([-1.0, 1.0])
    expected = expit(logit(0.3) + offsets).mean()
    assert shares_of((1, levels(0.3, offsets=offsets))) == pytest.approx(np.full(10, expected))


def test_only_years_of_every_stratum_have_a_share():
    some = levels(0.5, years=YEARS[2:])
    whole = weighted_levels([Stratum(weight=1, levels=levels(0.2)), Stratum(weight=1, levels=some)])
    assert whole.levels.years.tolist() == YEARS[2:].tolist()


def test_a_silent_stratum_has_a_share_of_0():
    silent = levels(
        0.5, seasons_heard=0, covariance=None, levels=np.full(10, np.nan), routes_heard=0
    )
    assert shares_of((1, levels(0.4)), (1, silent)) == pytest.approx(np.full(10, 0.2))
    with pytest.raises(ValueError, match="a stratum with the species"):
        weighted_levels([Stratum(weight=1, levels=silent)])


def test_the_delta_method_agrees_with_a_small_step_in_the_levels():
    offsets = np.random.default_rng(1).normal(0, 1, 40)
    a, b = levels(0.15, offsets=offsets, part=0.8), levels(0.6)
    covariance = np.random.default_rng(2).normal(0, 0.1, (10, 10))
    a = replace(a, covariance=covariance @ covariance.T)
    whole = weighted_levels([Stratum(weight=1, levels=a), Stratum(weight=2, levels=b)])

    def moved(of, year, step):
        return replace(of, levels=of.levels + step * np.eye(10)[year])

    step, jacobian = 1e-5, np.zeros((2, 10))
    for year in range(10):
        for at, (first, second) in enumerate(
            [(moved(a, year, step), b), (a, moved(b, year, step))]
        ):
            jacobian[at, year] = (
                logit(shares_of((1, first), (2, second)))[year] - whole.levels.levels[year]
            ) / step
    by_hand = sum(
        np.outer(row, row) * of.covariance for row, of in zip(jacobian, (a, b), strict=True)
    )
    assert whole.levels.covariance == pytest.approx(by_hand, rel=1e-3)


def test_degrees_of_freedom_lie_between_those_of_the_smallest_stratum_and_of_all():
    strata = [
        Stratum(weight=1, levels=levels(0.5, routes=5)),
        Stratum(weight=1, levels=levels(0.5, routes=20)),
    ]
    degrees = weighted_levels(strata).degrees(np.eye(10)[0])
    assert 4 < degrees < 23
    alone = weighted_levels(strata[:1]).degrees(np.eye(10)[0])
    assert alone == pytest.approx(4)


@pytest.mark.parametrize("weight", [0, -1])
def test_a_weight_that_is_not_positive_is_refused(weight):
    with pytest.raises(ValueError, match="positive weights"):
        weighted_levels([Stratum(weight=weight, levels=levels(0.5))])


def test_a_stratum_without_a_covariance_is_refused():
    with pytest.raises(ValueError, match="no covariance"):
        weighted_levels([Stratum(weight=1, levels=levels(0.5, covariance=None))])
