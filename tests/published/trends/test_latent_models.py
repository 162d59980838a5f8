"""Small identities of the other latent-state models, each worked by hand."""

import numpy as np
import pytest
from scipy.special import logit

from surveys.trends.models.abundance import (
    fit_abundance,
    occupancy_from_abundance,
)
from surveys.trends.models.abundance_likelihood import value_gradient as abundance_likelihood
from surveys.trends.models.call_index_likelihood import index_cells
from surveys.trends.models.call_index_likelihood import value_gradient as index_likelihood
from surveys.trends.models.dynamic_likelihood import (
    dynamic_cells,
    yearly_shares,
)
from surveys.trends.models.occupancy_likelihood import occupancy_cells
from surveys.trends.numerics.ordinal import free_of

ONE = np.ones((1, 1))


def test_dynamic_recursion():
    """MacKenzie et al. 2003, Ecology 84:2200-2207, eq. for psi[t + 1]; psi 0.60, extinction 0.10,
    colonization 0.05, computed by hand to eight decimals."""
    steps = np.ones((1, 5, 1))
    cells = dynamic_cells(np.zeros((1, 6, 1)), ONE, steps, steps, np.ones((1, 6, 1)))
    theta = np.array([logit(0.6), logit(0.05), logit(0.10), 0.0])
    shares, _ = yearly_shares(cells, theta)
    assert shares == pytest.approx([0.6, 0.56, 0.526, 0.4971, 0.472535, 0.45165475], abs=1e-12)


def test_call_index_of_three_silent_visits():
    """Royle 2004, Conservation Biology 18:1378-1385: states .30 .30 .25 .15 and chances 1, .5, .3,
    .1 of hearing nothing give Pr(000) = .3 + .3 (.125) + .25 (.027) + .15 (.001) = .3444."""
    rows = ([0.5, 0.5], [0.3, 0.4, 0.3], [0.1, 0.2, 0.3, 0.4])
    free = [free_of(np.array(row)) for row in ([0.3, 0.3, 0.25, 0.15], *rows)]
    cells = index_cells(np.zeros((1, 3)), np.zeros((1, 0)), np.zeros((1, 0)))
    value, _ = index_likelihood(cells)(np.concatenate(free))
    assert np.exp(value) == pytest.approx(0.3444, abs=1e-10)


def test_abundance_of_three_silent_visits():
    """Royle & Nichols 2003, Ecology 84:777-790: lambda 1.5, r 0.4, 3 visits give
    Pr(000) = exp(-1.5 (1 - 0.6^3)) = 0.308510."""
    cells = occupancy_cells(np.zeros((1, 3)), ONE, ONE)
    value, _ = abundance_likelihood(cells, bound=60)(np.array([np.log(1.5), logit(0.4)]))
    assert np.exp(value) == pytest.approx(0.308510, abs=1e-6)


def test_occupancy_from_abundance():
    """lambda 2 means psi = 1 - exp(-2) = 0.864665 (Royle & Nichols 2003)."""
    rng = np.random.default_rng(1)
    heard = 1 - 0.7 ** rng.poisson(2.0, 200)
    history = (rng.random((200, 4)) < heard[:, None]).astype(float)
    fit = fit_abundance(history)
    share = occupancy_from_abundance(fit)
    assert share.value == pytest.approx(1 - np.exp(-np.exp(fit.fitted.coefficients[0])))
    assert share.low < 0.864665 < share.high
