"""Yearly levels of full chorus against the plain likelihood, and what refuses them."""

import numpy as np
import pytest

from surveys.trends import estimates
from surveys.trends.models.call_index_likelihood import index_cells, value_gradient
from surveys.trends.models.chorus_levels import crossed_gradient, fit_chorus_levels
from surveys.trends.models.year_slope import slope_over_years

ROUTES, STOPS, YEARS, VISITS = 12, 5, 8, 3


def program(seed=1, *, slope=0.0, later_better=0.0):
    rng = np.random.default_rng(seed)
    route, _, year = (axis.ravel() for axis in np.indices((ROUTES, STOPS, YEARS)))
    late = route >= ROUTES // 2
    latent = rng.logistic(size=len(route)) + slope * year + later_better * late
    highest = (latent > -1).astype(int) + (latent > 0) + (latent > 1)
    chances = np.array([[1, 0, 0, 0], [0.4, 0.6, 0, 0], [0.3, 0.3, 0.4, 0], [0.2, 0.2, 0.2, 0.4]])
    drawn = rng.random((len(route), VISITS))[:, :, None] > chances.cumsum(axis=1)[highest][:, None]
    return drawn.sum(axis=2).astype(float), 2015 + year, route, late


def test_the_crossed_likelihood_is_the_plain_one():
    index, year, _, late = program()
    index[::7, 1] = np.nan
    state = np.column_stack([year == one for one in range(2016, 2023)] + [late]).astype(float)
    cells = index_cells(index, state, np.zeros((len(index), 0)))
    for seed in range(4):
        theta = np.random.default_rng(seed).normal(0, 0.6, 9 + state.shape[1])
        value, gradient = value_gradient(cells)(theta)
        again, slope = crossed_gradient(cells)(theta)
        assert again == pytest.approx(value, rel=1e-12)
        assert slope == pytest.approx(gradient, rel=1e-9, abs=1e-9)


def test_routes_that_begin_later_and_are_better_do_not_pass_for_a_rise():
    index, year, route, late = program(later_better=2.0)
    index[late & (year < 2019)] = np.nan
    index[~late & (year > 2020)] = np.nan
    within = slope_over_years(fit_chorus_levels(index, year, route))
    low, high = within.limits
    assert low < 0 < high
    assert fit_chorus_levels(index, year, route).within_routes


def test_rows_that_stand_three_times_in_their_route_make_nothing_surer():
    """By route three times the same rows are no more than one; taken as independent they are."""
    index, year, route, _ = program()
    once = fit_chorus_levels(index, year, route)
    thrice = fit_chorus_levels(*(np.repeat(values, 3, axis=0) for values in (index, year, route)))
    # But for the weak prior of the years.
    assert np.diag(thrice.covariance) == pytest.approx(np.diag(once.covariance), rel=0.02)
    thrice_as_sure = 3 * np.diag(thrice.model_covariance)
    assert thrice_as_sure == pytest.approx(np.diag(once.model_covariance), rel=0.02)


def test_a_season_without_a_call_has_a_level_too():
    index, year, route, _ = program()
    index[year == 2018] = 0
    levels = fit_chorus_levels(index, year, route)
    assert np.isfinite(levels.levels).all()
    assert levels.levels.argmin() == 3
    assert np.isfinite(levels.covariance).all()


def test_an_index_that_was_never_heard_leaves_the_search_where_it_is():
    """Without a 1, the classes 1 and 2 are one; their thresholds do not run away."""
    index, year, route, _ = program()
    index[index == 1] = 2
    levels = fit_chorus_levels(index, year, route)
    assert levels.flags == ()
    assert np.isfinite(levels.covariance).all()


def test_counts_are_those_of_full_chorus():
    index, year, route, _ = program()
    levels = fit_chorus_levels(index, year, route, sites=np.arange(len(year)) // YEARS)
    full = (index == 3).any(axis=1)
    assert levels.seasons_heard == full.sum()
    assert levels.sites_heard == len(np.unique((np.arange(len(year)) // YEARS)[full]))
    assert levels.routes_heard == len(np.unique(route[full]))


@pytest.mark.parametrize(
    ("change", "flag"),
    [
        (lambda index: np.minimum(index, 2), estimates.INDEX_NEVER_HEARD),
        (lambda index: index * 0, estimates.NEVER_HEARD),
        (lambda index: index[:, :1], estimates.NOT_IDENTIFIED),
    ],
)
def test_what_the_data_do_not_carry_has_a_flag_and_no_number(change, flag):
    index, year, route, _ = program()
    levels = fit_chorus_levels(change(index), year, route)
    assert flag in levels.flags
    assert levels.covariance is None
    assert slope_over_years(levels) is None


def test_an_index_that_is_none_is_refused():
    index, year, route, _ = program()
    with pytest.raises(ValueError, match="0, 1, 2, 3"):
        fit_chorus_levels(index + 1, year, route)
    with pytest.raises(ValueError, match="routes"):
        fit_chorus_levels(index, year, route[:-1])
