"""The line through yearly levels: weights, breaks, degrees of freedom, limits of the scatter."""

import dataclasses

import numpy as np
import pytest
from scipy.stats import chi2

from surveys.trends.models.year_levels import YearLevels
from surveys.trends.models.year_slope import slope_over_years

YEARS = np.arange(2012, 2024)


def make_levels(values, *, covariance=None, years=YEARS, routes=20, information=None):
    covariance = np.eye(len(years)) * 0.04 if covariance is None else covariance
    return YearLevels(
        years=years,
        levels=np.asarray(values, dtype=float),
        covariance=covariance,
        information=np.full(len(years), 25.0) if information is None else information,
        offsets=np.zeros(1),
        part=1.0,
        routes=routes,
        routes_heard=routes,
        sites_heard=500,
        seasons_heard=500,
        within_routes=False,
        flags=(),
    )


def scattered(sd, seed=3, slope=-0.05):
    rng = np.random.default_rng(seed)
    return slope * (YEARS - YEARS.mean()) + rng.normal(0, sd, len(YEARS))


def test_good_and_bad_years_widen_the_interval():
    calm = slope_over_years(make_levels(scattered(0.0)))
    wild = slope_over_years(make_levels(scattered(0.6)))
    assert calm.scatter == 0
    assert 0.3 < wild.scatter < 1.0
    assert wild.se > 2 * calm.se


def test_a_shared_error_of_all_years_does_not_touch_the_slope():
    """Routes that are better sites in every year move the level, not the change."""
    alone = slope_over_years(make_levels(scattered(0.0), covariance=np.eye(12) * 0.04))
    shared = slope_over_years(make_levels(scattered(0.0), covariance=np.eye(12) * 0.04 + 1.0))
    assert shared.se == pytest.approx(alone.se)
    assert shared.covariance[0, 0] == pytest.approx(alone.covariance[0, 0] + 1.0)


def test_a_break_takes_up_a_step():
    step = 0.8 * (YEARS >= 2018)
    without = slope_over_years(make_levels(step))
    with_break = slope_over_years(make_levels(step), breaks=[2018])
    assert without.slope > 0.05
    assert with_break.slope == pytest.approx(0.0, abs=1e-9)
    assert with_break.se > without.se * 1.5


@pytest.mark.parametrize("breaks", [[2012], [2030]], ids=["from the first year", "never"])
def test_a_break_that_no_year_lies_before_or_after_gives_no_slope(breaks):
    assert slope_over_years(make_levels(scattered(0.1)), breaks=breaks) is None


def test_a_year_that_is_hardly_known_counts_little():
    values = scattered(0.0)
    values[-1] += 3.0
    weak = np.full(len(YEARS), 25.0)
    weak[-1] = 0.01
    known = slope_over_years(make_levels(values))
    hardly = slope_over_years(make_levels(values, information=weak))
    assert abs(hardly.slope + 0.05) < abs(known.slope + 0.05) / 5


@pytest.mark.parametrize(
    ("routes", "sd", "most"),
    [(20, 0.0, 19), (20, 0.8, 10), (4, 0.8, 3), (2, 0.0, 1)],
    ids=["routes limit", "years limit", "few routes limit", "never below one"],
)
def test_degrees_of_freedom_are_those_of_the_scarcer(routes, sd, most):
    line = slope_over_years(make_levels(scattered(sd), routes=routes))
    assert 1 <= line.degrees <= most + 1e-9


def test_fewer_than_five_years_take_the_degrees_of_the_years():
    years = np.array([2020, 2021, 2022])
    line = slope_over_years(
        make_levels(
            [0.0, 0.4, 0.1], years=years, covariance=np.eye(3) * 0.04, information=np.full(3, 25.0)
        )
    )
    assert line.degrees == pytest.approx(1.0)


@pytest.mark.parametrize(("count", "degrees"), [(4, 2), (5, 19)])
def test_from_five_years_on_the_line_that_all_keep_has_the_degrees_of_the_routes(count, degrees):
    years = np.arange(2020, 2020 + count)
    line = slope_over_years(
        make_levels(
            -0.1 * np.arange(count),
            years=years,
            covariance=np.eye(count) * 0.04,
            information=np.full(count, 25.0),
        )
    )
    assert line.scatter == 0
    assert line.degrees == pytest.approx(degrees)


@pytest.mark.parametrize(("middle", "known"), [(0.3, True), (1.5, False)])
def test_scatter_without_an_end_has_no_upper_limit(middle, known):
    """One residual of three years leaves 31 times the scatter open at 95 % (chi square with one
    degree of freedom); beyond a standard deviation of 20 on the logit scale nothing is said."""
    line = slope_over_years(
        make_levels(
            [0.0, middle, 0.0],
            years=np.array([2020, 2021, 2022]),
            covariance=np.eye(3) * 1e-4,
            information=np.full(3, 1e4),
        )
    )
    expected = (2 / 3) ** 0.5 * middle / chi2.ppf(0.025, 1) ** 0.5
    assert expected == pytest.approx(26 * middle, rel=0.01)
    assert line.scatter_high == (pytest.approx(expected, rel=0.01) if known else None)


def test_as_many_terms_as_years_or_no_covariance_give_no_slope():
    two = np.array([2020, 2021])
    assert slope_over_years(make_levels([0.0, 1.0], years=two, covariance=np.eye(2))) is None
    lacking = dataclasses.replace(make_levels(scattered(0.1)), covariance=None)
    assert slope_over_years(lacking) is None


def test_limits_of_the_scatter_hold_the_truth_as_often_as_they_say():
    """400 programs of 12 years, true scatter 0.4, errors of the levels 0.2: 95 % intervals. With
    400 trials fewer than 366 or more than 393 hits have a chance of 0.1 % each (binomial law)."""
    rng, hits = np.random.default_rng(17), 0
    for _ in range(400):
        values = rng.normal(0, np.sqrt(0.4**2 + 0.04), len(YEARS))
        line = slope_over_years(make_levels(values))
        hits += line.scatter_low <= 0.4 <= (line.scatter_high or np.inf)
    assert 366 <= hits <= 393


def test_confidence_must_be_a_share():
    with pytest.raises(ValueError, match="level"):
        slope_over_years(make_levels(scattered(0.1)), confidence=95)
