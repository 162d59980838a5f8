"""Power by simulation."""

from dataclasses import replace

import numpy as np
import pytest

from surveys.trends import estimates, power
from surveys.trends.power import (
    METHOD,
    SurveyPlan,
    power_grid,
    power_of_trend,
    simulate_program,
    yearly_truth,
)

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


@pytest.mark.parametrize("years", [2, 3])
def test_a_stop_keeps_its_luck_from_year_to_year_as_often_as_the_plan_says(years):
    """Half keep it; of those that do not, half are in the same state by chance. From the first
    year to the third a quarter keep it."""
    plan = replace(
        PLAN, routes=4000, stops_per_route=1, visits=1, years=years,
        occupancy=0.5, detection=1.0, fall=0.0, stay=0.5, alike=0.0,
    )  # fmt: skip
    history, _, _ = simulate_program(plan, np.random.default_rng(2))
    state = history.reshape(4000, years)
    for year in range(1, years):
        same = (state[:, 0] == state[:, year]).mean()
        kept = 0.5**year
        # 4 binomial standard errors of 4000 stops.
        assert same == pytest.approx(kept + (1 - kept) / 2, abs=0.032)


def test_more_routes_see_more():
    few = power_of_trend(replace(PLAN, routes=8), seed=1, simulations=40)
    many = power_of_trend(replace(PLAN, routes=60), seed=1, simulations=40)
    assert few.value + 0.2 < many.value
    assert many.low <= many.value <= many.high
    assert many.interval == "wilson+programs:40"


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


def test_the_answer_says_what_it_is():
    found = power_of_trend(replace(PLAN, routes=6, years=6), seed=3, simulations=5)
    assert (found.name, found.interval, found.level) == (
        "power to see the decline",
        "wilson+programs:5",
        0.95,
    )
    assert found.flags == ()
    assert found.method == METHOD


def test_a_surer_interval_sees_less():
    """The level is that of the trends that are simulated."""
    small = replace(PLAN, routes=12, years=6)
    by_level = [power_of_trend(small, seed=4, simulations=30, level=lv).value for lv in (0.6, 0.99)]
    assert by_level[0] > by_level[1] + 0.2


@pytest.mark.parametrize(("lost", "flagged"), [(1, False), (2, True)])
def test_more_than_a_tenth_that_cannot_be_fitted_is_said(monkeypatch, lost, flagged):
    """Of ten programs, the first ones have a single visit and so no trend."""
    blind = [True] * lost + [False] * (10 - lost)
    simulate = power.simulate_program

    def some_blind(plan, rng):
        history, years, routes = simulate(plan, rng)
        return (history[:, :1] if blind.pop() else history), years, routes

    monkeypatch.setattr(power, "simulate_program", some_blind)
    found = power_of_trend(replace(PLAN, routes=12, years=6), seed=1, simulations=10)
    assert (estimates.NOT_IDENTIFIED in found.flags) is flagged


def test_every_pair_of_routes_and_visits_is_one_cell_of_fewer_programs_where_they_are_large(
    monkeypatch,
):
    """Programs of 300 and of 500 rows; here up to 300 rows are simulated 8 times, more 5 times."""
    monkeypatch.setattr(power, "_SIMULATIONS", ((300, 8),))
    monkeypatch.setattr(power, "_FEWEST", 5)
    plan = replace(PLAN, years=5)
    cells = power_grid(plan, routes=(6, 10), visits=(2, 3), seed=5)
    for cell, (routes, visits) in zip(cells, [(6, 2), (6, 3), (10, 2), (10, 3)], strict=True):
        assert (cell.routes, cell.visits) == (routes, visits)
        alone = replace(plan, routes=routes, visits=visits)
        simulations = 8 if routes == 6 else 5
        assert cell.chance == power_of_trend(alone, seed=5, simulations=simulations)


def test_a_small_program_is_simulated_200_times():
    plan = replace(PLAN, stops_per_route=1, years=2)
    (cell,) = power_grid(plan, routes=(2,), visits=(1,), seed=1)
    assert cell.chance.interval == "wilson+programs:200"


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
