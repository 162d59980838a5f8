"""Chances of ordered classes and their derivatives."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit

from surveys.trends.numerics.ordinal import class_chances, class_curvature, free_of, thresholds_of

number = st.floats(-4, 4)


@settings(deadline=None)
@given(
    free=st.lists(number, min_size=1, max_size=3), shift=st.lists(number, min_size=1, max_size=3)
)
def test_chances_are_differences_of_logistic_functions(free, shift):
    thresholds, shift = thresholds_of(np.array(free))[0], np.array(shift)
    below = expit(thresholds[None, :] - shift[:, None])
    padded = np.hstack([np.zeros((len(shift), 1)), below, np.ones((len(shift), 1))])
    chances = class_chances(thresholds, shift)
    np.testing.assert_allclose(np.exp(chances.log), np.diff(padded, axis=1), rtol=1e-7, atol=1e-12)


def test_derivatives_match_differences():
    thresholds, shift, step = np.array([-1.0, 0.3, 1.9]), np.array([0.4, -0.8]), 1e-6
    chances = class_chances(thresholds, shift)
    for k, move in enumerate(np.eye(3) * step):
        ahead, behind = (
            class_chances(thresholds + move, shift),
            class_chances(thresholds - move, shift),
        )
        np.testing.assert_allclose(
            chances.by_threshold[:, :, k], (ahead.log - behind.log) / (2 * step), atol=1e-7
        )
    ahead, behind = class_chances(thresholds, shift + step), class_chances(thresholds, shift - step)
    np.testing.assert_allclose(chances.by_shift, (ahead.log - behind.log) / (2 * step), atol=1e-7)


def test_curvature_matches_differences_of_the_derivatives():
    thresholds, shift = np.array([-1.0, 0.3, 1.9]), np.array([0.4, -0.8])

    def slopes(by):
        chances = class_chances(thresholds + by[:3], shift + by[3])
        return np.concatenate([chances.by_threshold, chances.by_shift[..., None]], axis=-1)

    curvature = class_curvature(thresholds, shift)
    for k, move in enumerate(1e-6 * np.eye(4)):
        change = (slopes(move) - slopes(-move)) / 2e-6
        np.testing.assert_allclose(curvature[..., k], change, atol=1e-7)


def test_jacobian_of_the_thresholds():
    free = np.array([-0.5, 0.2, -1.0])
    jacobian = thresholds_of(free)[1]
    for k, move in enumerate(np.eye(3) * 1e-6):
        change = (thresholds_of(free + move)[0] - thresholds_of(free - move)[0]) / 2e-6
        np.testing.assert_allclose(jacobian[:, k], change, atol=1e-8)


@pytest.mark.parametrize("chances", [[0.5, 0.5], [0.3, 0.3, 0.25, 0.15]])
def test_free_numbers_return_the_chances(chances):
    thresholds, _ = thresholds_of(free_of(np.array(chances)))
    np.testing.assert_allclose(np.exp(class_chances(thresholds, np.zeros(1)).log[0]), chances)


def test_far_thresholds_stay_finite():
    chances = class_chances(np.array([-300.0, 0.0, 300.0]), np.array([0.0, 250.0]))
    assert np.isfinite(chances.by_shift).all()
    np.testing.assert_allclose(np.exp(chances.log).sum(axis=1), 1.0)
