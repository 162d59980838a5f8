"""Power by simulation."""

from dataclasses import replace

import numpy as np
import pytest

from surveys.trends import estimates
from surveys.trends.power import SurveyPlan, power_of_trend, simulate_program, yearly_truth

PLAN = SurveyPlan(routes=24, stops_per_route=10, visits=3, years=10, occupancy=0.6, detection=0.5)


def test_truth_falls_by_the_stated_part():
    truth = yearly_truth(PLAN)
    assert truth[0] == 0.6
    assert truth[-1] == pytest.approx(0.42)
    np.testing.assert_allclose(truth[1:] / truth[:-1], 0.7 ** (1 / 9))


def test_simulated_share_keeps_to_the_truth_with_shared_and_kept_luck():
    plan = replace(PLAN, routes=2000, stops_per_route=3, detection=1.0, visits=1, alike=0.5)
    history, years, routes = simulate_program(plan, np.random.default_rng(1))
    for year, truth in enumerate(yearly_truth(plan), start=1):
        assert history[years == year].mean() == pytest.approx(truth, abs=0.03)
    assert len(routes) == len(history) == 60000


def test_more_routes_see_more():
    few = power_of_trend(replace(PLAN, routes=8), seed=1, simulations=40)
    many = power_of_trend(replace(PLAN, routes=60), seed=1, simulations=40)
    assert few.value + 0.2 < many.value
    assert many.low <= many.value <= many.high
    assert "40 simulated programs" in many.interval


def test_good_and_bad_years_hide_a_fall():
    calm = power_of_trend(PLAN, seed=1, simulations=40)
    wild = power_of_trend(replace(PLAN, year_sd=0.6), seed=1, simulations=40)
    assert wild.value + 0.3 < calm.value


def test_no_decline_is_seldom_seen():
    false = power_of_trend(replace(PLAN, fall=0.0), seed=2, simulations=120)
    # 2.5 % expected below zero; 120 draws stay under 10 % in all but 1 of 10,000 runs.
    assert false.value < 0.1


def test_same_seed_same_answer():
    small = replace(PLAN, routes=6, years=6)
    assert power_of_trend(small, seed=3, simulations=10) == power_of_trend(
        small, seed=3, simulations=10
    )


def test_one_visit_cannot_see_and_says_so():
    blind = power_of_trend(replace(PLAN, visits=1), seed=1, simulations=5)
    assert blind.value == 0.0
    assert estimates.NOT_IDENTIFIED in blind.flags


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"years": 1}, "years"),
        ({"visits": 0}, "visits"),
        ({"detection": 1.5}, "detection"),
        ({"year_sd": -0.1}, "year_sd"),
    ],
)
def test_impossible_plans_are_refused(change, words):
    with pytest.raises(ValueError, match=words):
        replace(PLAN, **change)
