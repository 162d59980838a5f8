"""Occupancy with covariates of sites against a general library, and against the sum over all
latent states."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.special import expit

from surveys.trends.models.occupancy import fit_occupancy
from surveys.trends.models.trend import (
    fit_trend,
    summarize_trend,
    yearly_occupancy,
)

ROUTES, STOPS, YEARS = 30, 10, 8


@pytest.fixture(scope="module")
def heard_whenever_there():
    """Site-seasons heard on every visit where the species is: nothing is left to detection, and
    the occupancy model is a logistic regression."""
    rng = np.random.default_rng(11)
    site = np.repeat(np.arange(ROUTES * STOPS), YEARS)
    year = np.tile(np.arange(2015, 2015 + YEARS), ROUTES * STOPS)
    fish = (site % 3 == 0).astype(float)
    held = rng.integers(0, 4, ROUTES * STOPS)[site].astype(float)
    shared = rng.normal(0, 0.7, ROUTES)[site // STOPS]
    line = 0.3 - 0.1 * (year - 2018.5) - 0.9 * fish + 0.3 * (held - 1.5) + shared
    there = (rng.random(len(line)) < expit(line)).astype(float)
    return there, year, site // STOPS, fish, held


def fitted(data):
    there, year, route, fish, held = data
    return fit_trend(
        np.column_stack([there, there]),
        year,
        route,
        occupancy={"fish": fish, "held": held},
    )


def design(data):
    there, year, _, fish, held = data
    return np.column_stack([np.ones(len(there)), fish, held, year - (2015 + 2022) / 2])


def test_coefficients_are_those_of_a_logistic_regression(heard_whenever_there):
    """statsmodels GLM, binomial; tolerance 1e-5 of a standard error (the chance of detection is
    held just short of 1)."""
    own = fitted(heard_whenever_there).fit
    other = sm.GLM(
        heard_whenever_there[0], design(heard_whenever_there), family=sm.families.Binomial()
    ).fit(tol=1e-12)
    order = [own.psi.names.index(name) for name in ("intercept", "fish", "held", "year")]
    se = np.sqrt(np.diag(own.covariance))[order]
    assert np.abs(own.coefficients[order] - other.params).max() < 1e-5 * se.min()
    np.testing.assert_allclose(se, other.bse, rtol=1e-5)
    assert own.log_likelihood == pytest.approx(other.llf, abs=1e-3)


def test_clustered_errors_are_those_of_estimating_equations(heard_whenever_there):
    """statsmodels GEE, independence, robust covariance, which lacks the factor C / (C - 1);
    tolerance 1e-5."""
    own = fitted(heard_whenever_there).fit
    other = sm.GEE(
        heard_whenever_there[0],
        design(heard_whenever_there),
        groups=heard_whenever_there[2],
        family=sm.families.Binomial(),
        cov_struct=sm.cov_struct.Independence(),
    ).fit()
    order = [own.psi.names.index(name) for name in ("intercept", "fish", "held", "year")]
    found = own.clustered_covariance[np.ix_(order, order)] * (ROUTES - 1) / ROUTES
    np.testing.assert_allclose(
        np.sqrt(np.diag(found)), np.sqrt(np.diag(other.cov_params())), rtol=1e-5
    )


def test_yearly_shares_are_averages_over_the_sites(heard_whenever_there):
    """statsmodels GLM: mean prediction with every row set to the year (average marginal
    prediction); tolerance 1e-6."""
    other = sm.GLM(
        heard_whenever_there[0], design(heard_whenever_there), family=sm.families.Binomial()
    ).fit(tol=1e-12)
    for year, share in yearly_occupancy(fitted(heard_whenever_there)):
        rows = design(heard_whenever_there)
        rows[:, 3] = year - (2015 + 2022) / 2
        assert share.value == pytest.approx(other.predict(rows).mean(), abs=1e-6)


def test_kinds_never_heard_leave_the_regression_as_it_is(heard_whenever_there):
    """Sites that cannot have it change no slope, and scale every share: by hand."""
    there, year, route, fish, held = heard_whenever_there
    empty = fish > 0
    silent = np.where(empty, 0.0, there)
    own = fit_trend(
        np.column_stack([silent, silent]), year, route, occupancy={"held": held}, empty=empty
    )
    rows = ~empty
    other = sm.GLM(
        there[rows],
        np.column_stack([np.ones(rows.sum()), held[rows], year[rows] - 2018.5]),
        family=sm.families.Binomial(),
    ).fit(tol=1e-12)
    assert summarize_trend(own).log_odds.value == pytest.approx(other.params[2], abs=1e-6)
    (first, share), *_ = yearly_occupancy(own)
    rest = np.column_stack([np.ones(rows.sum()), held[rows], np.full(rows.sum(), first - 2018.5)])
    assert share.value == pytest.approx(rows.mean() * other.predict(rest).mean(), abs=1e-6)


def over_all_states(history, fish, theta):
    """The likelihood summed over the two states of each site (MacKenzie et al. 2002)."""
    total = 0.0
    for visits, own in zip(history, fish, strict=True):
        psi, p = expit(theta[0] + theta[1] * own), expit(theta[2])
        occupied = psi * np.prod([p if heard else 1 - p for heard in visits])
        empty = (1 - psi) * all(heard == 0 for heard in visits)
        total += np.log(occupied + empty)
    return total


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), step=st.lists(st.floats(-0.5, 0.5), min_size=3, max_size=3))
def test_no_place_near_the_maximum_is_higher(seed, step):
    """The end of the search, on the likelihood written out by brute force."""
    rng = np.random.default_rng(seed)
    fish = np.repeat([0.0, 1.0], 20)
    occupied = rng.random(40) < np.where(fish > 0, 0.35, 0.75)
    history = ((rng.random((40, 3)) < 0.5) & occupied[:, None]).astype(float)
    fit = fit_occupancy(history, occupancy={"fish": fish})
    assume(not fit.flags)
    best = over_all_states(history, fish, fit.coefficients)
    assert fit.log_likelihood == pytest.approx(best, abs=1e-9)
    assert over_all_states(history, fish, fit.coefficients + np.array(step)) <= best + 1e-9
