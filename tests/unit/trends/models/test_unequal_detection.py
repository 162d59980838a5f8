"""Sites that differ in detection: brute force, differences, and what the plain model misses."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit, logit
from scipy.stats import binom, poisson

from surveys.trends.models.abundance_likelihood import value_gradient as abundance_value
from surveys.trends.models.latent_mixture import mixture_objective, mixture_scores
from surveys.trends.models.occupancy_likelihood import log_likelihood, occupancy_cells
from surveys.trends.models.unequal_detection import BOUND, abundance_induced, two_classes
from surveys.trends.numerics.optimize import maximize

coefficient = st.floats(-2.5, 2.5)
HISTORIES = st.lists(
    st.lists(st.sampled_from([0.0, 0.0, 1.0, float("nan")]), min_size=3, max_size=3),
    min_size=1,
    max_size=4,
)


def designs(history, by_visit):
    rows = len(history)
    x = np.column_stack([np.ones(rows), np.linspace(-1, 1, rows)])
    wide = np.stack([np.ones((rows, 3)), np.arange(rows * 3).reshape(rows, 3) % 2], axis=-1)
    return x, wide if by_visit else wide[:, 0]


def visit_chances(design, coefficients, history):
    logits = design @ coefficients
    return logits if design.ndim == 3 else np.repeat(logits[:, None], history.shape[1], axis=1)


def chance(row, p):
    """Of a history, a visit at a time."""
    return math.prod(
        float(p[v]) if row[v] else 1 - float(p[v]) for v in range(len(row)) if not np.isnan(row[v])
    )


def brute_classes(history, x, design, theta):
    psi, logits = expit(x @ theta[:2]), visit_chances(design, theta[2:4], history)
    first, total = expit(theta[5]), 0.0
    for site, row in enumerate(history):
        inside = first * chance(row, expit(logits[site] + theta[4] / 2))
        inside += (1 - first) * chance(row, expit(logits[site] - theta[4] / 2))
        total += np.log(psi[site] * inside + (1 - psi[site]) * (not np.nansum(row)))
    return total


def brute_abundance(history, x, design, theta):
    mean = -np.log1p(-expit(x @ theta[:2]))
    r = expit(visit_chances(design, theta[2:4], history))
    total = 0.0
    for site, row in enumerate(history):
        total += np.log(
            sum(
                poisson.pmf(animals, mean[site]) * chance(row, 1 - (1 - r[site]) ** animals)
                for animals in range(BOUND + 1)
            )
        )
    return total


FORMS = ((two_classes, brute_classes, 2), (abundance_induced, brute_abundance, 0))


@settings(deadline=None)
@given(
    history=HISTORIES,
    theta=st.tuples(*[coefficient] * 6),
    by_visit=st.booleans(),
    form=st.sampled_from(
        [(two_classes, brute_classes, 2), (abundance_induced, brute_abundance, 0)]
    ),
)
def test_likelihood_is_the_sum_over_states(history, theta, by_visit, form):
    model, brute, numbers = form
    history, theta = np.array(history), np.array(theta[: 4 + numbers])
    x, design = designs(history, by_visit)
    cells = occupancy_cells(history, x, design)
    goal = mixture_objective(cells, model, numbers)
    value, gradient = goal.value_gradient(theta)
    assert value == pytest.approx(brute(history, x, design, theta), rel=1e-8, abs=1e-8)
    assert gradient == pytest.approx(cells.weight @ mixture_scores(cells, model, theta, numbers))
    values, slopes = [], []
    for shift in 1e-5 * np.eye(len(theta)):
        ahead, behind = goal.value_gradient(theta + shift), goal.value_gradient(theta - shift)
        values.append((ahead[0] - behind[0]) / 2e-5)
        slopes.append((ahead[1] - behind[1]) / 2e-5)
    assert gradient == pytest.approx(np.array(values), rel=1e-4, abs=1e-5)
    assert goal.hessian(theta) == pytest.approx(np.array(slopes), rel=1e-4, abs=1e-5)


def simulated(rng, *, sites, visits, psi, p):
    heard = rng.random((sites, 1)) < psi
    return (heard & (rng.random((sites, visits)) < p(rng, sites)[:, None])).astype(float)


def fitted_psi(history, model, start, numbers):
    one = np.ones((len(history), 1))
    cells = occupancy_cells(history, one, one)
    end = maximize(mixture_objective(cells, model, numbers), np.array(start))
    assert end.converged
    return expit(end.theta[0]), end, cells


def test_two_classes_find_the_sites_that_the_plain_model_misses():
    """Half the sites at .7, half at .1, psi .6: the plain model is below the truth."""
    rng = np.random.default_rng(3)
    history = simulated(
        rng, sites=4000, visits=8, psi=0.6, p=lambda g, n: np.where(g.random(n) < 0.5, 0.7, 0.1)
    )
    share, end, cells = fitted_psi(history, two_classes, [0.0, 0.0, 1.0, 0.0], 2)
    assert share == pytest.approx(0.6, abs=0.03)
    one = np.ones((len(history), 1))
    plain = maximize(mixture_objective(cells, two_classes, 2), np.array([0.0, 0.0, 0.0, 0.0]))
    assert end.value > log_likelihood(occupancy_cells(history, one, one), plain.theta[:2])
    assert (history.any(axis=1)).mean() < 0.55


def test_abundance_meets_the_model_by_mean_abundance():
    """Royle & Nichols 2003 by log mean abundance, the older code of this project: same likelihood
    at psi = 1 - exp(-lambda)."""
    rng = np.random.default_rng(4)
    history = (rng.random((200, 4)) < 1 - 0.7 ** rng.poisson(1.2, 200)[:, None]).astype(float)
    one = np.ones((200, 1))
    cells = occupancy_cells(history, one, one)
    share = -math.expm1(-1.2)
    ours = mixture_objective(cells, abundance_induced, 0)
    value, _ = ours.value_gradient(np.array([logit(share), logit(0.3)]))
    older, _ = abundance_value(cells, bound=BOUND)(np.array([math.log(1.2), logit(0.3)]))
    assert value == pytest.approx(older, rel=1e-12)


def test_one_class_is_the_plain_model():
    """MacKenzie et al. 2002: classes that are not apart; and binomial counts by scipy.stats."""
    history = np.array([[1.0, 0.0, 1.0], [0.0, 0.0, 0.0]])
    one = np.ones((2, 1))
    cells = occupancy_cells(history, one, one)
    value, _ = mixture_objective(cells, two_classes, 2).value_gradient(
        np.array([0.4, -0.3, 0.0, 1.7])
    )
    assert value == pytest.approx(log_likelihood(cells, np.array([0.4, -0.3])), abs=1e-12)
    psi, p = expit(0.4), expit(-0.3)
    by_hand = np.log(psi * binom.pmf(2, 3, p) / 3) + np.log(psi * (1 - p) ** 3 + 1 - psi)
    assert value == pytest.approx(by_hand, abs=1e-12)
