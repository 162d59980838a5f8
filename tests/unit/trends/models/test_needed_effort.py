"""What it takes to see a change, from the scatter of a fitted trend."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logit

from surveys.trends.models.needed_effort import needed_effort
from surveys.trends.models.year_levels import YearLevels
from surveys.trends.models.year_slope import slope_over_years
from surveys.trends.models.year_trend import YearTrend


def trend(*, scatter=0.3, variance=0.04, routes=20, alike=0.0, years=10, breaks=()):
    """A line with a known scatter and errors by route that correlate equally over years."""
    year = np.arange(2015, 2015 + years)
    covariance = variance * (alike + (1 - alike) * np.eye(years))
    levels = YearLevels(
        years=year, levels=np.full(years, logit(0.4)) + 0.01 * (year % 3), covariance=covariance,
        information=np.full(years, 1 / variance), offsets=np.zeros(1), part=1.0, routes=routes,
        routes_heard=routes, sites_heard=100, seasons_heard=500, within_routes=False, flags=(),
    )  # fmt: skip
    line = slope_over_years(levels, breaks=breaks)
    line = replace(line, scatter=scatter, scatter_low=0.0, scatter_high=2 * scatter)
    return YearTrend(levels=levels, line=line, pooled=line, flags=())


def test_more_scatter_needs_more_years():
    calm, wild = needed_effort(trend(scatter=0.1)), needed_effort(trend(scatter=0.4))
    assert calm.chance > wild.chance
    assert calm.years < wild.years


def test_routes_do_not_average_the_scatter_of_years_away():
    assert needed_effort(trend(scatter=0.4)).routes is None
    assert needed_effort(trend(scatter=0.0, variance=0.08)).routes > 0


def test_what_is_reached_needs_nothing():
    sure = needed_effort(trend(scatter=0.0, variance=0.001))
    assert (sure.years, sure.routes) == (0, 0)
    assert sure.chance > 0.99


def test_a_constant_part_of_the_errors_leaves_the_slope_alone():
    """What routes are at all times says nothing of a change."""
    apart, alike = needed_effort(trend(scatter=0.05)), needed_effort(trend(scatter=0.05, alike=0.6))
    assert alike.chance > apart.chance
    assert alike.years <= apart.years


def test_the_ends_are_those_of_the_scatter():
    needed = needed_effort(trend(scatter=0.2))
    assert needed.years_low == needed_effort(trend(scatter=0.0)).years
    assert needed.years_high == needed_effort(trend(scatter=0.4)).years
    assert needed.years_low < needed.years < needed.years_high
    unknown = trend()
    unknown = replace(unknown, line=replace(unknown.line, scatter_high=None))
    assert needed_effort(unknown).years_high is None


def test_a_break_costs_years():
    assert needed_effort(trend(breaks=(2020,))).years > needed_effort(trend()).years


def test_a_steeper_fall_is_seen_sooner():
    assert needed_effort(trend(), percent=-8.0).years < needed_effort(trend()).years


def test_the_chance_is_that_of_the_noncentral_t_by_simulation():
    """Normal levels about a line of that slope, with the errors and the scatter that are known: the
    same slope, interval and degrees of freedom as of every trend."""
    rng, of = np.random.default_rng(1), trend(scatter=0.15, variance=0.02)
    levels, slope, seen = of.levels, None, 0
    middle = levels.levels.mean()
    # The slope of 4 % a year: the share at either end of nine years about the middle.
    slopes = np.linspace(-0.3, 0, 3001)
    share = 1 / (1 + np.exp(-(middle + np.array([-4.5, 4.5])[:, None] * slopes)))
    slope = slopes[np.abs((share[1] / share[0]) ** (1 / 9) - 0.96).argmin()]
    for _ in range(2000):
        drawn = middle + slope * (levels.years - levels.years.mean())
        drawn = drawn + rng.normal(0, np.sqrt(0.02 + 0.15**2), 10)
        line = slope_over_years(replace(levels, levels=drawn))
        seen += line.limits[1] < 0
    assert needed_effort(of, percent=-4.0).chance == pytest.approx(seen / 2000, abs=0.04)


def test_without_a_line_nothing_is_told():
    assert needed_effort(replace(trend(), line=None)) is None
