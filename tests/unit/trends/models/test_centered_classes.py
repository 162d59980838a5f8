"""The search for two classes of sites by the mean of their detection."""

import numpy as np
import pytest

from surveys.trends.models.centered_classes import _Centered, maximize_centered
from surveys.trends.models.latent_mixture import mixture_objective
from surveys.trends.models.occupancy_likelihood import occupancy_cells
from surveys.trends.models.unequal_detection import two_classes
from surveys.trends.numerics.optimize import maximize

# Occupancy, two levels of detection, how far the classes are apart, the share in the first.
LEVELS = np.array([1, 2])
AWAY = np.array([0.2, -0.4, 0.3, 1.3, 0.7])


@pytest.fixture(scope="module")
def goal():
    rng = np.random.default_rng(6)
    chance = np.where(rng.random((600, 1)) < 0.3, 0.8, 0.3)
    heard = (rng.random((600, 1)) < 0.6) & (rng.random((600, 5)) < chance)
    level = (np.arange(600) % 2)[:, None] == np.arange(2)
    cells = occupancy_cells(heard * 1.0, np.ones((600, 1)), level * 1.0)
    return mixture_objective(cells, two_classes, 2)


def test_the_levels_are_means_over_both_classes(goal):
    centered = _Centered(goal, LEVELS)
    share = 1 / (1 + np.exp(-AWAY[-1]))
    better, worse = AWAY[1] + AWAY[3] / 2, AWAY[1] - AWAY[3] / 2
    mean = centered.moved(AWAY, 1.0)
    assert mean[1] == pytest.approx(share * better + (1 - share) * worse)
    assert centered.at(mean) == pytest.approx(AWAY)


def test_gradient_and_hessian_are_those_of_the_value(goal):
    centered, values, slopes = _Centered(goal, LEVELS), [], []
    gradient = centered.value_gradient(AWAY)[1]
    hessian = centered.hessian(AWAY)
    for shift in 1e-5 * np.eye(len(AWAY)):
        ahead, behind = (centered.value_gradient(at) for at in (AWAY + shift, AWAY - shift))
        values.append((ahead[0] - behind[0]) / 2e-5)
        slopes.append((ahead[1] - behind[1]) / 2e-5)
    assert gradient == pytest.approx(np.array(values), rel=1e-5, abs=1e-4)
    assert hessian == pytest.approx(np.array(slopes), rel=1e-4, abs=1e-3)


def test_the_maximum_is_that_of_the_goal(goal):
    start = np.array([0.0, 0.0, 0.0, 2.0, 0.0])
    usual, found = maximize(goal, start), maximize_centered(goal, start, LEVELS)
    assert found.converged
    assert found.theta == pytest.approx(usual.theta, abs=1e-5)
    assert found.value == pytest.approx(usual.value)
    assert found.hessian == pytest.approx(usual.hessian, rel=1e-4)
    assert found.gradient == pytest.approx(goal.value_gradient(found.theta)[1], abs=1e-8)
