"""Abundance-induced detection against brute force, differences and simulated truth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit
from scipy.stats import poisson

from surveys.trends import estimates
from surveys.trends.models.abundance import (
    fit_abundance,
    mean_abundance,
    occupancy_from_abundance,
    single_detection,
)
from surveys.trends.models.abundance_likelihood import value_gradient
from surveys.trends.models.occupancy_likelihood import occupancy_cells
from tests.unit.trends.simulated import spread_detections

NAN = float("nan")
number = st.floats(-2, 1.5)


@settings(deadline=None)
@given(
    history=st.lists(
        st.lists(st.sampled_from([0.0, 1.0, NAN]), min_size=3, max_size=3), min_size=1, max_size=4
    ),
    theta=st.tuples(*[number] * 4),
    by_visit=st.booleans(),
)
def test_likelihood_is_the_sum_over_numbers(history, theta, by_visit):
    history, theta = np.array(history), np.array(theta)
    rows, bound = len(history), 12
    x = np.column_stack([np.ones(rows), np.linspace(-1, 1, rows)])
    w = np.stack([np.ones((rows, 3)), np.tile([-1.0, 0, 1], (rows, 1))], axis=-1)
    if not by_visit:
        w[:, :, 1] = 0.5
    mean, r = np.exp(x @ theta[:2]), expit(w @ theta[2:])
    expected = 0.0
    for row in range(rows):
        likelihood = 0.0
        for n in range(bound + 1):
            term = poisson.pmf(n, mean[row])
            for visit in range(3):
                heard = 1 - (1 - r[row, visit]) ** n
                seen = history[row, visit]
                term *= 1.0 if np.isnan(seen) else heard if seen else 1 - heard
            likelihood += term
        expected += np.log(likelihood)
    cells = occupancy_cells(history, x, w if by_visit else w[:, 0])
    value = value_gradient(cells, bound=bound)(theta)[0]
    assert value == pytest.approx(expected, rel=1e-8, abs=1e-9)


@pytest.mark.parametrize("by_visit", [True, False])
def test_gradient_matches_differences(by_visit):
    rng = np.random.default_rng(1)
    history = (rng.random((40, 4)) < 0.4).astype(float)
    history[rng.random(history.shape) < 0.2] = NAN
    x = np.column_stack([np.ones(40), rng.normal(size=40)])
    w = rng.normal(size=(40, 4, 2) if by_visit else (40, 2))
    evaluate = value_gradient(occupancy_cells(history, x, w), bound=40)
    theta = np.array([0.3, -0.4, 0.2, 0.5])
    for k, move in enumerate(np.eye(4) * 1e-6):
        slope = (evaluate(theta + move)[0] - evaluate(theta - move)[0]) / 2e-6
        assert evaluate(theta)[1][k] == pytest.approx(slope, rel=1e-5, abs=1e-6)


@pytest.mark.parametrize("theta", [(800.0, 0.0), (0.0, -800.0), (-800.0, 0.0), (0.0, 800.0)])
def test_far_out_is_finite_or_minus_infinity(theta):
    cells = occupancy_cells(spread_detections(5, 3, 3, 5), np.ones((5, 1)), np.ones((5, 1)))
    value, gradient = value_gradient(cells, bound=20)(np.array(theta))
    assert value < 0
    assert np.isfinite(gradient).all()


def simulated(rng, mean, r, visits=5):
    animals = rng.poisson(mean)
    heard = 1 - (1 - r) ** animals
    return (rng.random((len(animals), visits)) < heard[:, None]).astype(float)


class TestFit:
    def test_truth_is_inside_the_intervals(self):
        fit = fit_abundance(simulated(np.random.default_rng(2), np.full(800, 1.5), 0.3))
        animals, heard = mean_abundance(fit, level=0.99), single_detection(fit, level=0.99)
        share = occupancy_from_abundance(fit, level=0.99)
        assert animals.low < 1.5 < animals.high
        assert heard.low < 0.3 < heard.high
        assert share.low < 1 - np.exp(-1.5) < share.high
        assert fit.fitted.flags == ()
        assert animals.interval == "profile"

    def test_covariates(self):
        rng = np.random.default_rng(3)
        fish = np.repeat([0.0, 1.0], 400)
        history = simulated(rng, np.exp(0.7 - 1.2 * fish), 0.3)
        air = rng.normal(15, 3, history.shape)
        fit = fit_abundance(history, abundance={"fish": fish}, detection={"air": air})
        slope = fit.fitted.coefficients[1]
        assert abs(slope + 1.2) < 3 * np.sqrt(fit.fitted.covariance[1, 1])
        animals = mean_abundance(fit)
        assert animals.value == pytest.approx(np.exp(0.1), rel=0.25)
        # The delta method: on the log scale the interval is about 2 * 1.96 standard errors wide.
        width = np.log(animals.high / animals.low)
        assert animals.se == pytest.approx(animals.value * width / 3.92, rel=0.1)

    def test_standard_error_of_the_share_follows_from_finite_differences(self):
        """Delta method: the gradient by central differences, the covariance of the fit."""
        rng = np.random.default_rng(5)
        fish = np.repeat([0.0, 1.0], 200)
        fit = fit_abundance(simulated(rng, np.exp(0.5 - fish), 0.4), abundance={"fish": fish})
        rows, step = np.column_stack([np.ones(400), fish]), 1e-5
        theta, covariance = fit.fitted.coefficients, fit.fitted.covariance

        def share(coefficients):
            return 1 - np.exp(-np.exp(rows @ coefficients[:2])).mean()

        gradient = [
            (share(theta + step * unit) - share(theta - step * unit)) / (2 * step)
            for unit in np.eye(3)
        ]
        found = occupancy_from_abundance(fit)
        assert found.value == pytest.approx(share(theta))
        assert found.se == pytest.approx((gradient @ covariance @ gradient) ** 0.5, rel=1e-6)


class TestWeakData:
    @pytest.mark.parametrize(
        ("history", "flag"),
        [
            (np.zeros((5, 3)), estimates.NEVER_HEARD),
            (np.full((5, 3), NAN), estimates.NO_EFFORT),
            (np.array([[1.0], [0]]), estimates.NO_REPEAT_VISITS),
        ],
    )
    def test_nothing_to_fit(self, history, flag):
        fit = fit_abundance(history)
        assert flag in fit.fitted.flags
        for ask in (mean_abundance, single_detection, occupancy_from_abundance):
            assert ask(fit).value is None

    def test_heard_everywhere_moves_with_the_bound(self):
        fit = fit_abundance(spread_detections(40, 4, 40, 60), bound=20)
        assert estimates.MOVES_WITH_BOUND in fit.fitted.flags
        assert mean_abundance(fit).value is None

    def test_row_without_its_covariate_is_left_out(self):
        fish = np.tile([0.0, 1.0], 20)
        fish[3] = NAN
        fit = fit_abundance(spread_detections(40, 3, 20, 35), abundance={"fish": fish})
        assert fit.fitted.rows == 39
        assert estimates.COVARIATE_MISSING in fit.fitted.flags

    def test_bound_is_at_least_one(self):
        with pytest.raises(ValueError, match="bound"):
            fit_abundance(np.zeros((2, 2)), bound=0)
