"""The whole analysis of one species: what is independent in it, and what is not.

A stop that is written down twice brings no knowledge: routes are what is independent of each
other. Standard errors that shrink with copies of stops, or models that win by copies, mean that
some part of the analysis takes the stops of a route as independent.
"""

import numpy as np
import pytest

from surveys.trends.analysis import (
    Parts,
    analyze,
)
from tests.support.simulated_programs import (
    repeat_stops,
    simulate,
    some_nature,
)

WITHOUT_RESAMPLING = Parts(fit_check=False, phenology=False)
SEEDS = (0, 1, 2)


def analyze_copies(seed, copies):
    rng = np.random.default_rng(seed)
    made = simulate(rng, some_nature(rng), routes=10, years=4)
    return analyze("x", repeat_stops(made.periods, copies), site="stop", parts=WITHOUT_RESAMPLING)


@pytest.fixture(scope="module", params=SEEDS)
def copied(request):
    """The same program with every stop four and eight times. From four copies on, every model's
    penalty for dependent rows is larger than its number of parameters."""
    return analyze_copies(request.param, 4), analyze_copies(request.param, 8)


def intervals_by_route(result):
    """Every interval that counts routes, by what it is of."""
    by_route = {
        "trend, log odds": result.trend.log_odds,
        "trend, odds": result.trend.odds,
        "trend, occupancy": result.trend.occupancy,
        "trend, points": result.trend.points,
        "trend, not corrected": result.trend.naive,
        "colonization": result.turnover.colonization,
        "extinction": result.turnover.extinction,
        "equilibrium": result.turnover.equilibrium,
    }
    for year, share in (*result.trend.line, *result.trend.naive_line):
        by_route[f"line in {year}, {share.method}"] = share
    for effect in result.trend.effects:
        by_route[f"effect of {effect.name}"] = effect.odds
    for year in result.years:
        by_route[f"occupancy in {year.season_year}"] = year.occupancy_by_route
        by_route[f"detection in {year.season_year}"] = year.detection
    for year in result.index:
        by_route[f"expected index in {year.season_year}"] = year.expected_index
        by_route[f"full chorus in {year.season_year}"] = year.full_chorus
    return {
        name: (estimate.low, estimate.high)
        for name, estimate in by_route.items()
        if estimate.low is not None
    }


def test_copies_of_stops_narrow_no_interval(copied):
    four, eight = (intervals_by_route(result) for result in copied)
    assert len(four) > 25
    assert four.keys() == eight.keys()
    for name, interval in four.items():
        assert eight[name] == pytest.approx(interval, rel=2e-3, abs=2e-3), name
    assert copied[1].trend.log_odds.se == pytest.approx(copied[0].trend.log_odds.se, rel=1e-3)


def test_two_copies_keep_the_standard_error_of_the_trend():
    alone, doubled = analyze_copies(0, 1), analyze_copies(0, 2)
    assert doubled.trend.detection_model == alone.trend.detection_model
    assert doubled.trend.occupancy_model == alone.trend.occupancy_model
    assert doubled.trend.log_odds.se == pytest.approx(alone.trend.log_odds.se, rel=1e-3)
    assert doubled.trend.naive.low == pytest.approx(alone.trend.naive.low, rel=1e-3)


def test_copies_of_stops_let_no_model_win(copied):
    """Twice the copies double the log-likelihood and the penalty of every model alike: the same
    order, every distance doubled."""
    four, eight = copied
    for lines, doubled in (
        (four.trend.detection_models, eight.trend.detection_models),
        (four.trend.occupancy_models, eight.trend.occupancy_models),
    ):
        assert [line.name for line in lines] == [line.name for line in doubled]
        for line, twice in zip(lines, doubled, strict=True):
            assert twice.delta == pytest.approx(2 * line.delta, rel=0.01, abs=0.05), line.name
    assert len(four.trend.detection_models) >= 4
