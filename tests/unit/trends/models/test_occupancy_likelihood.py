"""Likelihood of the occupancy model against brute force; its derivatives against differences."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit

from surveys.trends.models.occupancy_likelihood import (
    cell_scores,
    log_likelihood,
    objective,
    occupancy_cells,
)

coefficients = st.floats(-3, 3)
history_rows = st.lists(
    st.lists(st.sampled_from([0.0, 1.0, float("nan")]), min_size=3, max_size=3),
    min_size=1,
    max_size=5,
)


def brute_force(history, psi, p):
    """Sum over the latent states of every site, written out one state and visit at a time."""
    total = 0.0
    for row, chances in enumerate(history):
        likelihood = 0.0
        for state in (0, 1):
            term = psi[row] if state else 1 - psi[row]
            for visit, seen in enumerate(chances):
                if not np.isnan(seen):
                    heard = state * p[row, visit]
                    term *= heard if seen else 1 - heard
            likelihood += term
        total += np.log(likelihood)
    return total


@settings(deadline=None)
@given(history=history_rows, theta=st.tuples(*[coefficients] * 4), by_visit=st.booleans())
def test_likelihood_is_the_sum_over_latent_states(history, theta, by_visit):
    history, theta = np.array(history), np.array(theta)
    rows, visits = history.shape
    x = np.column_stack([np.ones(rows), np.linspace(-1, 1, rows)])
    w = np.stack([np.ones((rows, visits)), np.tile(np.linspace(-1, 2, visits), (rows, 1))], axis=-1)
    design = w if by_visit else w[:, 0, :]
    p = expit(w @ theta[2:]) if by_visit else np.repeat(expit(design @ theta[2:])[:, None], 3, 1)
    cells = occupancy_cells(history, x, design)
    expected = brute_force(history, expit(x @ theta[:2]), p)
    assert log_likelihood(cells, theta) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("by_visit", [True, False])
def test_gradient_and_hessian_match_differences(by_visit):
    rng = np.random.default_rng(5)
    history = (rng.random((40, 4)) < 0.3).astype(float)
    history[rng.random(history.shape) < 0.2] = np.nan
    x = np.column_stack([np.ones(40), rng.normal(size=40)])
    w = rng.normal(size=(40, 4, 2)) if by_visit else rng.integers(0, 2, (40, 2)).astype(float)
    goal = objective(occupancy_cells(history, x, w))
    theta = np.array([0.3, -0.7, 0.2, 0.5])
    step = 1e-6
    for k, shift in enumerate(np.eye(4) * step):
        ahead, behind = goal.value_gradient(theta + shift), goal.value_gradient(theta - shift)
        gradient = goal.value_gradient(theta)[1]
        assert gradient[k] == pytest.approx((ahead[0] - behind[0]) / (2 * step), rel=1e-6, abs=1e-7)
        np.testing.assert_allclose(
            goal.hessian(theta)[:, k], (ahead[1] - behind[1]) / (2 * step), rtol=1e-6, atol=1e-6
        )


def test_scores_of_the_rows_add_up_to_the_gradient():
    rng = np.random.default_rng(6)
    history = (rng.random((60, 3)) < 0.4).astype(float)
    cells = occupancy_cells(history, np.ones((60, 1)), np.ones((60, 1)))
    theta = np.array([0.4, -0.6])
    rows = cell_scores(cells, theta)[cells.group]
    np.testing.assert_allclose(rows.sum(axis=0), objective(cells).value_gradient(theta)[1])


def test_grouping_changes_nothing():
    rng = np.random.default_rng(7)
    history = (rng.random((200, 3)) < 0.4).astype(float)
    ones, theta = np.ones((200, 1)), np.array([0.4, -0.6])
    together = occupancy_cells(history, ones, ones)
    one_by_one = [occupancy_cells(h[None], ones[:1], ones[:1]) for h in history]
    assert len(together.weight) < 10
    assert log_likelihood(together, theta) == pytest.approx(
        sum(log_likelihood(cell, theta) for cell in one_by_one)
    )


def test_no_overflow_far_out():
    history = np.array(list(product([0.0, 1.0], repeat=3)))
    cells = occupancy_cells(history, np.ones((8, 1)), np.ones((8, 1)))
    for theta in product([-700.0, 700.0], repeat=2):
        value, gradient = objective(cells).value_gradient(np.array(theta))
        assert np.isfinite(value)
        assert np.isfinite(gradient).all()
