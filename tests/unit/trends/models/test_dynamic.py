"""Dynamic occupancy against brute force, differences and simulated truth."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit

from surveys.trends import estimates
from surveys.trends.models.dynamic import (
    dynamic_chance,
    equilibrium_occupancy,
    fit_dynamic,
    grid_design,
    seasonal_occupancy,
)
from surveys.trends.models.dynamic_likelihood import (
    cell_scores,
    dynamic_cells,
    every_nth,
    objective,
    value_gradient,
    yearly_shares,
)

NAN = float("nan")
coefficient = st.floats(-3, 3)
PARTS = ("initial occupancy", "colonization", "extinction", "detection")


def brute_force(history, first, gain, loss, p):
    """Sum over every sequence of states of every site."""
    sites, seasons, visits = history.shape
    total = 0.0
    for site in range(sites):
        likelihood = 0.0
        for states in product((0, 1), repeat=seasons):
            term = first[site] if states[0] else 1 - first[site]
            for season in range(seasons):
                if season:
                    up, down = gain[site, season - 1], loss[site, season - 1]
                    rise = up if states[season - 1] == 0 else 1 - down
                    term *= rise if states[season] else 1 - rise
                for visit in range(visits):
                    seen = history[site, season, visit]
                    if not np.isnan(seen):
                        heard = states[season] * p[site, season, visit]
                        term *= heard if seen else 1 - heard
            likelihood += term
        total += np.log(likelihood)
    return total


@settings(deadline=None)
@given(
    history=st.lists(
        st.lists(st.sampled_from([0.0, 0.0, 1.0, NAN]), min_size=6, max_size=6),
        min_size=1,
        max_size=3,
    ),
    theta=st.tuples(*[coefficient] * 6),
    by_visit=st.booleans(),
)
def test_likelihood_is_the_sum_over_latent_states(history, theta, by_visit):
    history, theta = np.array(history).reshape(-1, 3, 2), np.array(theta)
    sites = len(history)
    x = np.column_stack([np.ones(sites), np.linspace(-1, 1, sites)])
    one = np.ones((sites, 2, 1))
    w = np.stack([np.ones((sites, 3, 2)), np.arange(sites * 6).reshape(sites, 3, 2) % 2], axis=-1)
    design = w if by_visit else w[:, :, 0]
    p = expit(w @ theta[4:]) if by_visit else np.repeat(expit(design @ theta[4:])[:, :, None], 2, 2)
    gain, loss = np.full((sites, 2), expit(theta[2])), np.full((sites, 2), expit(theta[3]))
    expected = brute_force(history, expit(x @ theta[:2]), gain, loss, p)
    value = value_gradient(dynamic_cells(history, x, one, one, design))(theta)[0]
    assert value == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_visits_that_did_not_happen_tell_grouped_histories_apart():
    """As much was heard at both, on more visits at one: grouped rows must not mix them."""
    often, seldom = [[0, 0], [1, 0], [0, 0]], [[0, NAN], [1, 0], [0, NAN]]
    history = np.array([often, seldom] * 6, dtype=float)
    one = np.ones((12, 2, 1))
    cells = dynamic_cells(history, one[:, 0], one, one, np.ones((12, 3, 1)))
    assert cells.weight.tolist() == [6, 6]
    theta = np.array([0.3, -1.2, -0.7, 0.4])
    first, gain, loss, p = (np.full((12, 3, 2), chance) for chance in expit(theta))
    expected = brute_force(history, first[:, 0, 0], gain[:, :, 0], loss[:, :, 0], p)
    assert value_gradient(cells)(theta)[0] == pytest.approx(expected, rel=1e-9)


def simulated(rng, *, sites, seasons, visits=3, first=0.6, gain=0.1, loss=0.2, p=0.5):
    state = rng.random(sites) < first
    history = np.empty((sites, seasons, visits))
    for season in range(seasons):
        if season:
            luck = rng.random(sites)
            state = np.where(state, luck >= loss, luck < gain)
        history[:, season] = (rng.random((sites, visits)) < p) & state[:, None]
    return history


@pytest.mark.parametrize("by_visit", [True, False])
def test_gradient_matches_differences(by_visit):
    rng = np.random.default_rng(1)
    history = simulated(rng, sites=30, seasons=4)
    history[rng.random(history.shape) < 0.2] = NAN
    step_design = rng.normal(size=(30, 3, 2))
    detection = rng.normal(size=(30, 4, 3, 2) if by_visit else (30, 4, 2))
    cells = dynamic_cells(history, np.ones((30, 1)), step_design, step_design, detection)
    evaluate = value_gradient(cells)
    theta = np.array([0.2, -0.5, 0.3, -0.8, 0.1, 0.4, -0.3])
    for k, shift in enumerate(np.eye(7) * 1e-6):
        slope = (evaluate(theta + shift)[0] - evaluate(theta - shift)[0]) / 2e-6
        assert evaluate(theta)[1][k] == pytest.approx(slope, rel=1e-5, abs=1e-6)


def test_a_part_of_the_sites_has_the_likelihood_of_these_sites():
    rng = np.random.default_rng(12)
    history = rng.integers(0, 2, size=(30, 3, 2)).astype(float)
    history[rng.random(history.shape) < 0.2] = NAN
    designs = [rng.normal(size=(30, *shape)) for shape in ((2,), (2, 2), (2, 2), (3, 2))]
    theta = rng.normal(size=8)
    whole = dynamic_cells(history, *designs)
    assert len(whole.weight) == 30
    part = dynamic_cells(history[::3], *(design[::3] for design in designs))
    np.testing.assert_allclose(
        np.concatenate([*map(np.ravel, value_gradient(every_nth(whole, 3))(theta))]),
        np.concatenate([*map(np.ravel, value_gradient(part)(theta))]),
    )


@pytest.mark.parametrize("by_visit", [True, False])
def test_hessian_matches_differences_of_the_gradient(by_visit):
    rng = np.random.default_rng(11)
    history = simulated(rng, sites=40, seasons=5)
    history[rng.random(history.shape) < 0.3] = NAN
    step_design = rng.normal(size=(40, 4, 2))
    detection = rng.normal(size=(40, 5, 3, 2) if by_visit else (40, 5, 2))
    initial = np.column_stack([np.ones(40), rng.normal(size=40)])
    goal = objective(dynamic_cells(history, initial, step_design, step_design, detection))
    theta = np.array([0.2, 0.6, -0.5, 0.3, -0.8, 0.1, 0.4, -0.3])
    differences = [
        (goal.value_gradient(theta + shift)[1] - goal.value_gradient(theta - shift)[1]) / 2e-6
        for shift in 1e-6 * np.eye(8)
    ]
    np.testing.assert_allclose(goal.hessian(theta), differences, rtol=1e-5, atol=1e-5)


def test_derived_shares_have_the_right_gradient():
    rng = np.random.default_rng(2)
    step_design = rng.normal(size=(20, 5, 2))
    cells = dynamic_cells(
        simulated(rng, sites=20, seasons=6),
        np.ones((20, 1)),
        step_design,
        step_design,
        np.ones((20, 6, 1)),
    )
    theta = np.array([0.2, -0.5, 0.3, -0.8, 0.1, 0.4])
    slopes = yearly_shares(cells, theta)[1]
    for k, shift in enumerate(np.eye(6) * 1e-6):
        difference = yearly_shares(cells, theta + shift)[0] - yearly_shares(cells, theta - shift)[0]
        np.testing.assert_allclose(slopes[:, k], difference / 2e-6, atol=1e-8)


def test_forty_seasons_of_many_visits_stay_finite():
    rng = np.random.default_rng(3)
    history = simulated(rng, sites=50, seasons=40, visits=12)
    one = np.ones((50, 39, 1))
    evaluate = value_gradient(dynamic_cells(history, one[:, 0], one, one, np.ones((50, 40, 1))))
    for theta in product([-30.0, 0.0, 30.0], repeat=4):
        value, gradient = evaluate(np.array(theta))
        assert np.isfinite(value)
        assert np.isfinite(gradient).all()


def test_impossible_history_is_minus_infinity_not_an_error():
    history = np.ones((1, 2, 2))
    one = np.ones((1, 1, 1))
    evaluate = value_gradient(dynamic_cells(history, one[:, 0], one, one, np.ones((1, 2, 1))))
    value, gradient = evaluate(np.array([-800.0, -800.0, 800.0, 0.0]))
    assert value == -np.inf
    assert not gradient.any()
    cells = dynamic_cells(history, one[:, 0], one, one, np.ones((1, 2, 1)))
    scores = cell_scores(cells, np.array([-800.0, -800.0, 800.0, 0.0]))
    assert scores.shape == (1, 4)
    assert np.isnan(scores).all()


@pytest.fixture(scope="module")
def fit():
    history = simulated(np.random.default_rng(4), sites=250, seasons=8)
    history[np.random.default_rng(5).random(history.shape) < 0.1] = NAN
    return fit_dynamic(history)


class TestFit:
    truth = dict(zip(PARTS, (0.6, 0.1, 0.2, 0.5), strict=True))

    @pytest.mark.parametrize("part", PARTS)
    def test_truth_is_inside_the_intervals(self, fit, part):
        found = dynamic_chance(fit, part, level=0.99)
        assert found.low < self.truth[part] < found.high
        assert found.flags == ()

    def test_derived_occupancy(self, fit):
        truth = 0.6
        for share in seasonal_occupancy(fit, level=0.99):
            assert share.low < truth < share.high
            truth = truth * 0.8 + (1 - truth) * 0.1

    def test_equilibrium(self, fit):
        share = equilibrium_occupancy(fit, level=0.99)
        gain, loss = (
            dynamic_chance(fit, "colonization").value,
            dynamic_chance(fit, "extinction").value,
        )
        assert share.value == pytest.approx(gain / (gain + loss))
        assert share.low < 1 / 3 < share.high

    def test_standard_error_of_the_equilibrium_follows_from_finite_differences(self, fit):
        """Delta method: the gradient by central differences, the covariance of the fit."""
        at = [list(fit.parts).index(part) for part in ("colonization", "extinction")]

        def share(theta):
            gain, loss = expit(theta[at])
            return gain / (gain + loss)

        theta, step = fit.fitted.coefficients, 1e-5
        gradient = np.array(
            [
                (share(theta + step * unit) - share(theta - step * unit)) / (2 * step)
                for unit in np.eye(len(theta))
            ]
        )
        variance = gradient @ fit.fitted.covariance @ gradient
        assert equilibrium_occupancy(fit).se == pytest.approx(np.sqrt(variance), rel=1e-6)

    def test_covariates_of_every_part(self):
        rng = np.random.default_rng(6)
        fish = np.repeat([0.0, 1.0], 200)
        loss = np.where(fish > 0, 0.6, 0.1)
        history = simulated(rng, sites=400, seasons=5, loss=loss)
        wet = rng.normal(60, 5, (400, 4))
        fit = fit_dynamic(
            history,
            initial={"fish": fish},
            colonization={"wet": wet},
            extinction={"fish": fish},
            detection={"air": rng.normal(size=history.shape), "fish": fish},
        )
        at = fit.fitted.names.index("extinction: fish")
        se = np.sqrt(fit.fitted.covariance[at, at])
        truth = np.log(0.6 / 0.4) - np.log(0.1 / 0.9)
        assert abs(fit.fitted.coefficients[at] - truth) < 3 * se
        assert seasonal_occupancy(fit)[4].value == pytest.approx(0.38, abs=0.1)


class TestClusters:
    def test_scores_add_up_to_the_gradient(self, fit):
        theta = fit.fitted.maximum.theta + 0.1
        gradient = value_gradient(fit.cells)(theta)[1]
        scores = cell_scores(fit.cells, theta)
        np.testing.assert_allclose(fit.cells.weight @ scores, gradient, rtol=1e-9, atol=1e-9)

    def test_copies_of_a_site_are_no_new_knowledge(self):
        """Every site three times, as one cluster: the standard errors of the sites alone."""
        history = simulated(np.random.default_rng(3), sites=120, seasons=5)
        alone = fit_dynamic(history, clusters=np.arange(120))
        copied = fit_dynamic(np.repeat(history, 3, axis=0), clusters=np.repeat(np.arange(120), 3))
        np.testing.assert_allclose(copied.fitted.covariance, alone.fitted.covariance, rtol=1e-3)
        loss = dynamic_chance(alone, "extinction")
        assert "clustered" in loss.interval
        assert loss.low < loss.value < loss.high

    def test_a_wrong_number_of_labels_is_refused(self):
        with pytest.raises(ValueError, match=r"^clusters: expected"):
            fit_dynamic(simulated(np.random.default_rng(3), sites=9, seasons=3), clusters=[1, 2])


class TestWeakData:
    @pytest.mark.parametrize(
        ("history", "flag"),
        [
            (np.zeros((5, 3, 2)), estimates.NEVER_HEARD),
            (np.full((5, 3, 2), NAN), estimates.NO_EFFORT),
            (np.zeros((0, 3, 2)), estimates.NO_EFFORT),
            (np.ones((5, 1, 2)), estimates.TOO_FEW_DATA),
        ],
    )
    def test_nothing_to_fit(self, history, flag):
        fit = fit_dynamic(history)
        assert flag in fit.fitted.flags
        assert dynamic_chance(fit, "detection").value is None
        assert equilibrium_occupancy(fit).value is None
        assert all(share.value is None for share in seasonal_occupancy(fit))

    def test_no_repeat_visits_is_said(self):
        history = simulated(np.random.default_rng(7), sites=60, seasons=4, visits=1)
        assert estimates.NO_REPEAT_VISITS in fit_dynamic(history).fitted.flags

    def test_no_extinction_ever_is_an_edge_with_a_bound(self):
        history = simulated(np.random.default_rng(8), sites=80, seasons=5, loss=0.0, p=0.9)
        loss = dynamic_chance(fit_dynamic(history), "extinction")
        assert loss.value == 0.0
        assert loss.low == 0.0
        assert 0 < loss.high < 0.1
        assert estimates.EDGE_OF_RANGE in loss.flags

    def test_unknown_detection_covariate_leaves_the_visit_out(self):
        history = simulated(np.random.default_rng(9), sites=60, seasons=4)
        air = np.zeros(history.shape)
        air[:, :, 1] = 1.0
        air[0, 0, 0] = NAN
        shorter = history.copy()
        shorter[0, 0, 0] = NAN
        fit = fit_dynamic(history, detection={"air": air})
        other = fit_dynamic(shorter, detection={"air": np.nan_to_num(air)})
        assert fit.fitted.log_likelihood == pytest.approx(other.fitted.log_likelihood)
        assert estimates.COVARIATE_MISSING in fit.fitted.flags


class TestShapes:
    def test_history_has_three_axes(self):
        with pytest.raises(ValueError, match="3 axes"):
            fit_dynamic(np.zeros((3, 2)))

    def test_covariates_fit_their_part(self):
        with pytest.raises(ValueError, match="wet: expected shape"):
            fit_dynamic(np.zeros((3, 4, 2)), colonization={"wet": np.zeros((3, 4))})

    def test_missing_covariate_of_a_chance_every_site_has(self):
        with pytest.raises(ValueError, match="extinction: covariates must not be missing"):
            fit_dynamic(np.zeros((3, 4, 2)), extinction={"fish": [0, NAN, 1]})

    def test_grid_design_repeats_trailing_axes(self):
        design = grid_design((2, 3), {"fish": [1, 2]})
        assert design.matrix[1, :, 1].tolist() == [2, 2, 2]
