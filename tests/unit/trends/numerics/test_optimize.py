"""The search for a maximum and the profile-likelihood limits, on functions known by hand."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from surveys.trends.numerics import optimize
from surveys.trends.numerics.arrays import codes_of
from surveys.trends.numerics.intervals import normal_quantile
from surveys.trends.numerics.optimize import (
    FARTHEST,
    Objective,
    ProfileFailedError,
    _profile_end,
    _updated,
    covariance_of,
    identified,
    maximize,
    newton_step,
    numeric_hessian,
    profile_limits,
)
from surveys.trends.numerics.sandwich import cluster_scores, sandwich_covariance

CENTER = np.array([1.0, -2.0, 0.5])
BEND = np.array([[4.0, 1.0, 0.0], [1.0, 3.0, 0.5], [0.0, 0.5, 2.0]])


def quadratic(theta):
    away = theta - CENTER
    return -0.5 * float(away @ BEND @ away), -BEND @ away


def objective(value_gradient, **more):
    return Objective(value_gradient=value_gradient, hessian=numeric_hessian(value_gradient), **more)


@pytest.mark.parametrize("costly", [False, True])
class TestMaximize:
    def test_quadratic(self, costly):
        end = maximize(objective(quadratic, costly=costly), np.zeros(3))
        assert end.converged
        np.testing.assert_allclose(end.theta, CENTER, atol=1e-6)
        np.testing.assert_allclose(end.hessian, -BEND, atol=1e-6)

    def test_leaves_a_saddle_uphill(self, costly):
        def saddle(theta):
            x, y = theta
            return -(x**4) + x**2 - y**2, np.array([-4 * x**3 + 2 * x, -2 * y])

        end = maximize(objective(saddle, costly=costly), np.array([1e-3, 1.0]))
        assert end.converged
        np.testing.assert_allclose(np.abs(end.theta), [np.sqrt(0.5), 0.0], atol=1e-5)

    def test_runaway_is_held_at_the_end_of_the_search(self, costly):
        def rising(theta):
            soft = np.logaddexp(0.0, -theta[0])
            return -soft - theta[1] ** 2, np.array([1 / (1 + np.exp(theta[0])), -2 * theta[1]])

        end = maximize(objective(rising, costly=costly), np.array([0.0, 1.0]))
        assert end.converged
        assert identified(end).tolist() == [False, True]
        covariance = covariance_of(end)
        assert np.isnan(covariance[0]).all()
        assert covariance[1, 1] == pytest.approx(0.5, rel=1e-4)

    def test_own_bounds(self, costly):
        end = maximize(objective(quadratic, costly=costly, upper=0.0), np.full(3, -1.0))
        assert end.theta.max() <= 0.0
        assert end.held.tolist() == [True, False, True]

    def test_no_value_at_the_start(self, costly):
        def nowhere(theta):
            return -np.inf, np.zeros(1)

        end = maximize(objective(nowhere, costly=costly), np.zeros(1))
        assert not end.converged


def test_the_step_is_that_of_newton_and_tells_what_is_left_to_gain():
    """Another step would find the same end, later."""
    value, slope = quadratic(np.zeros(3))
    step, gain = newton_step(slope, -BEND, np.zeros(3, dtype=bool))
    np.testing.assert_allclose(step, CENTER, rtol=1e-12)
    assert gain == pytest.approx(-2 * value, rel=1e-12)
    held, _ = newton_step(slope, -BEND, np.array([False, True, False]))
    rest = np.ix_([0, 2], [0, 2])
    np.testing.assert_allclose(held[[0, 2]], np.linalg.solve(BEND[rest], slope[[0, 2]]), rtol=1e-12)
    assert held[1] == 0
    far, _ = newton_step(100 * slope, -BEND, np.zeros(3, dtype=bool))
    np.testing.assert_allclose(far, CENTER * 2, rtol=1e-12)


def test_an_updated_hessian_explains_the_last_step():
    """The secant equation: Nocedal & Wright, Numerical Optimization, 2nd ed., eq. 6.6 (from
    memory)."""
    step = np.array([0.3, -0.2, 0.1])
    new = _updated(-np.eye(3), step, -BEND @ step)
    np.testing.assert_allclose(new @ step, -BEND @ step, rtol=1e-12)
    np.testing.assert_allclose(new, new.T)
    assert (np.linalg.eigvalsh(new) < 0).all()


def test_a_quadratic_takes_one_newton_step_and_updates_take_few():
    start = CENTER - 0.5
    assert maximize(objective(quadratic), start).iterations <= 3
    assert maximize(objective(quadratic), start, curvature=-1.5 * BEND).iterations <= 12


def test_no_step_uphill_is_no_maximum_while_the_slope_is_steep():
    end = maximize(
        Objective(
            value_gradient=lambda theta: (-abs(float(theta[0])), np.array([1.0])),
            hessian=lambda theta: np.array([[-1.0]]),
        ),
        np.zeros(1),
    )
    assert not end.converged


def test_flat_direction_is_not_identified():
    def ridge(theta):
        total = theta.sum()
        return -(total**2), np.full(2, -2 * total)

    assert identified(maximize(objective(ridge), np.array([1.0, 2.0]))).tolist() == [False, False]


@pytest.mark.parametrize("costly", [False, True])
class TestProfile:
    @pytest.mark.parametrize("contrast", [np.eye(3)[1], np.array([1.0, 2.0, 0.0])])
    def test_quadratic_has_the_wald_limits(self, costly, contrast):
        goal = objective(quadratic, costly=costly)
        end = maximize(goal, np.zeros(3))
        low, high = profile_limits(goal, end, contrast, level=0.9)
        half = normal_quantile(0.9) * np.sqrt(contrast @ np.linalg.inv(BEND) @ contrast)
        assert low == pytest.approx(contrast @ CENTER - half, abs=1e-4)
        assert high == pytest.approx(contrast @ CENTER + half, abs=1e-4)

    def test_length_of_the_contrast_scales_the_limits(self, costly):
        goal = objective(quadratic, costly=costly)
        end = maximize(goal, np.zeros(3))
        one = profile_limits(goal, end, np.eye(3)[0], level=0.95)
        many = profile_limits(goal, end, 1000 * np.eye(3)[0], level=0.95)
        np.testing.assert_allclose(many, 1000 * np.array(one), rtol=1e-5)

    @pytest.mark.parametrize("contrast", [np.eye(3)[0], np.eye(3)[2]])
    def test_the_other_parameters_stay_within_their_bounds(self, costly, contrast):
        """The same upside down: where the lower bound was, the upper one is."""

        def mirrored(theta):
            value, gradient = quadratic(-theta)
            return value, -gradient

        ends = []
        for function, bound in ((quadratic, {"lower": -1.0}), (mirrored, {"upper": 1.0})):
            goal = objective(function, costly=costly, **bound)
            ends.append(profile_limits(goal, maximize(goal, np.zeros(3)), contrast, level=0.9))
        free = profile_limits(
            objective(quadratic), maximize(objective(quadratic), np.zeros(3)), contrast, level=0.9
        )
        (low, high), (mirrored_low, mirrored_high) = ends
        assert (low, high) == pytest.approx((-mirrored_high, -mirrored_low), abs=1e-4)
        assert low != pytest.approx(free[0], abs=0.01)

    def test_search_that_loses_its_way_is_done_again(self, costly, monkeypatch):
        goal = objective(quadratic, costly=costly)
        end = maximize(goal, np.zeros(3))
        usual = profile_limits(goal, end, np.eye(3)[1], level=0.95)
        monkeypatch.setattr(optimize, "_MOST_UPDATES", 1)
        again = profile_limits(goal, end, np.eye(3)[1], level=0.95)
        np.testing.assert_allclose(again, usual, atol=1e-5)

    def test_rising_profile_shows_that_it_was_no_maximum(self, costly):
        goal = objective(quadratic, costly=costly)
        end = maximize(goal, np.zeros(3))
        short = replace(end, theta=CENTER + 1.0, value=quadratic(CENTER + 1.0)[0])
        with pytest.raises(ProfileFailedError):
            profile_limits(goal, short, np.eye(3)[0], level=0.95)


def test_limit_far_out_of_a_runaway():
    def late(theta):
        away = theta[0] - 12.0
        return -600 * float(np.logaddexp(0.0, -away)), np.array([600 / (1 + np.exp(away))])

    goal = objective(late)
    end = maximize(goal, np.zeros(1))
    low, high = profile_limits(goal, end, np.ones(1), level=0.95)
    # 600 log(1 + exp(12 - x)) lies 1.9207 above its value of 1.4854 at 18 where x = 17.168.
    assert low == pytest.approx(17.168, abs=1e-3)
    assert high is None


def test_inner_search_that_ends_elsewhere_the_second_time():
    class Restless:
        answers = iter([0.0, 9.0, 9.0])

        def root_deviance(self, at):
            return next(self.answers)

    with pytest.raises(ProfileFailedError):
        _profile_end(Restless(), 10.0, 1.0, 1.96)


def test_single_parameter_profile():
    goal = objective(lambda theta: (-float(theta @ theta), -2 * theta))
    end = maximize(goal, np.ones(1))
    low, high = profile_limits(goal, end, np.ones(1), level=0.95)
    assert (low, high) == pytest.approx((-1.3859, 1.3859), abs=1e-4)


def test_ends_of_a_profile_that_is_bent():
    """The log of a Poisson mean, of which 3 were counted: Brent's method by scipy, to 1e-12."""
    goal = objective(lambda theta: (3 * theta[0] - np.exp(theta[0]), 3 - np.exp(theta)))
    end = maximize(goal, np.ones(1))
    limits = profile_limits(goal, end, np.ones(1), level=0.95)

    def lacking(at):
        return 2 * (3 * np.log(3) - 3 - 3 * at + np.exp(at)) - normal_quantile(0.95) ** 2

    exact = [brentq(lacking, np.log(3), far, xtol=1e-12) for far in (-3.0, 4.0)]
    assert limits == pytest.approx(exact, abs=1e-7)


def test_no_limit_on_a_side_where_the_likelihood_stays_flat():
    goal = objective(
        lambda theta: (
            -5 * float(np.logaddexp(0.0, -theta[0])),
            5 / (1 + np.exp(theta)),
        )
    )
    end = maximize(goal, np.zeros(1))
    low, high = profile_limits(goal, end, np.ones(1), level=0.95)
    # 5 log(1 + exp(-x)) = 1.9207 at x = 0.76.
    assert low == pytest.approx(0.7585, abs=1e-3)
    assert high is None
    assert end.theta[0] == FARTHEST


def test_clusters_below_two_are_refused():
    with pytest.raises(ValueError, match="at least two clusters"):
        sandwich_covariance(np.eye(2), np.ones((1, 2)))


def test_scores_without_parameters():
    assert cluster_scores(np.zeros((4, 0)), np.array([0, 0, 1, 1])).shape == (2, 0)


def test_labels_must_be_one_a_row():
    with pytest.raises(ValueError, match="one value for each of 3 rows"):
        codes_of([1, 2], name="groups", length=3)
