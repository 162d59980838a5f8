"""The trend that is told: refusals, scales that agree, the line, pooled beside within routes."""

import numpy as np
import pytest
from scipy.special import expit

from surveys.trends import estimates
from surveys.trends.models.year_trend import (
    fit_year_trend,
    summarize_year_trend,
    year_scatter,
    year_trend_line,
)


def simulated(seed=2, *, routes=16, stops=8, years=10, slope=-0.12, psi=0.5, better=0.0):
    rng = np.random.default_rng(seed)
    route, stop, year = (
        axis.ravel() for axis in np.indices((routes, stops, years), dtype=np.int64)
    )
    if better:
        half = routes // 2
        kept = np.where(route < half, year < 3 + route % 5, year >= 3 + route % 5)
        route, stop, year = route[kept], stop[kept], year[kept]
    line = np.log(psi / (1 - psi)) + slope * (year - (years - 1) / 2)
    line = line + rng.normal(0, 0.5, routes)[route] + better * (route < routes // 2)
    there = rng.random(len(line)) < expit(line)
    heard = (there[:, None] & (rng.random((len(line), 3)) < 0.6)).astype(float)
    return heard, year + 2011, route


def test_all_scales_agree_on_what_changed():
    summary = summarize_year_trend(fit_year_trend(*simulated()))
    for estimate in (summary.log_odds, summary.odds, summary.occupancy, summary.points):
        assert estimate.low < estimate.value < estimate.high < 0
        assert estimate.flags == ()


@pytest.mark.parametrize("slope", [-0.1, -0.04, 0.0, 0.04])
def test_no_scale_finds_a_change_that_another_does_not(slope):
    summary = summarize_year_trend(fit_year_trend(*simulated(seed=7, slope=slope)))
    sides = {
        (np.sign(estimate.low), np.sign(estimate.high))
        for estimate in (summary.log_odds, summary.odds, summary.occupancy, summary.points)
    }
    assert len(sides) == 1


def test_percent_a_year_leads_from_the_first_to_the_last_share_of_the_line():
    trend = fit_year_trend(*simulated())
    line, summary = year_trend_line(trend), summarize_year_trend(trend)
    (_, first), (_, last) = line[0], line[-1]
    assert first.value * (1 + summary.occupancy.value / 100) ** 9 == pytest.approx(last.value)
    assert first.value + 9 * summary.points.value / 100 == pytest.approx(last.value)
    assert [year for year, _ in line] == list(range(2011, 2021))
    assert all(share.low < share.value < share.high for _, share in line)


@pytest.mark.parametrize(
    ("make", "flag"),
    [
        (lambda: simulated(years=4), estimates.TOO_FEW_DATA),
        (lambda: simulated(psi=0.001, slope=0.0), estimates.TOO_FEW_DATA),
        (lambda: simulated(routes=2), estimates.TOO_FEW_DATA),
    ],
    ids=["four years", "heard at few sites", "two routes"],
)
def test_too_few_data_give_no_number_and_no_interval(make, flag):
    trend = fit_year_trend(*make())
    summary = summarize_year_trend(trend)
    for estimate in (
        summary.log_odds,
        summary.odds,
        summary.occupancy,
        summary.points,
        year_scatter(trend),
        *(share for _, share in year_trend_line(trend)),
    ):
        assert (estimate.value, estimate.low, estimate.high) == (None, None, None)
        assert flag in estimate.flags


@pytest.mark.parametrize(("count", "few"), [(9, True), (10, False)])
def test_ten_sites_heard_carry_a_trend(count, few):
    heard, year, route = simulated(years=5)
    clear = np.flatnonzero(heard.sum(axis=1) >= 2)
    kept = np.random.default_rng(1).permutation(clear)[:count]
    only = np.zeros_like(heard)
    only[kept] = heard[kept]
    trend = fit_year_trend(only, year, route)
    assert (trend.levels.sites_heard, trend.levels.routes_heard > 2) == (count, True)
    assert (estimates.TOO_FEW_DATA in trend.flags) is few
    assert (trend.line is None) is few


@pytest.mark.parametrize("told_apart", [True, False])
def test_a_site_heard_in_many_seasons_counts_once(told_apart):
    """Nine sites were heard, in more than ten seasons of a site."""
    heard, year, route = simulated(years=5)
    site = np.arange(len(heard)) // 5
    others = [number for number in range(len(heard)) if site[number] not in range(0, 90, 10)]
    heard[others] = 0
    trend = fit_year_trend(heard, year, route, sites=site if told_apart else None)
    assert trend.levels.seasons_heard >= 10
    assert (estimates.TOO_FEW_DATA in trend.flags) is told_apart


@pytest.mark.parametrize(("routes", "flags"), [(3, (estimates.FEW_CLUSTERS,)), (8, ())])
def test_three_routes_carry_a_trend_and_eight_are_no_longer_few(routes, flags):
    trend = fit_year_trend(*simulated(routes=routes, stops=20, years=5, slope=0.0))
    assert trend.line is not None
    assert trend.flags == flags
    one_less = fit_year_trend(*simulated(routes=routes - 1, stops=20, years=5, slope=0.0))
    wanted = estimates.TOO_FEW_DATA if routes == 3 else estimates.FEW_CLUSTERS
    assert one_less.flags[0] == wanted


def test_few_routes_are_flagged_and_still_told():
    summary = summarize_year_trend(fit_year_trend(*simulated(routes=6, stops=16)))
    assert estimates.FEW_CLUSTERS in summary.occupancy.flags
    assert summary.occupancy.value is not None


def test_routes_that_changed_are_told_within_and_flagged():
    trend = fit_year_trend(*simulated(routes=30, slope=0.0, better=1.6))
    assert estimates.ROUTES_CHANGED in trend.flags
    assert trend.pooled.slope < -0.1
    assert abs(trend.line.slope) < abs(trend.pooled.slope) / 2


def test_routes_that_stayed_have_one_line():
    trend = fit_year_trend(*simulated())
    assert trend.pooled is trend.line
    assert estimates.ROUTES_CHANGED not in trend.flags


def test_the_scatter_of_years_is_a_number_with_an_interval():
    heard, year, route = simulated(routes=30, slope=0.0)
    poor = (year % 2 == 0) & (np.random.default_rng(1).random(len(year)) < 0.6)
    heard[poor] = 0.0
    scatter = year_scatter(fit_year_trend(heard, year, route))
    assert 0 < scatter.low < scatter.value < scatter.high
    calm = year_scatter(fit_year_trend(*simulated(routes=30, slope=0.0)))
    assert calm.low == 0
    assert calm.value < scatter.low
