"""The rate of false detections that makes a given share of them false."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import expit

from surveys.trends.models.false_positive import fit_false_positive
from surveys.trends.models.false_rate import false_rate
from surveys.trends.models.occupancy import fit_occupancy
from surveys.trends.models.occupancy_likelihood import objective, occupied_given_history
from surveys.trends.numerics.optimize import maximize


def test_the_rate_makes_that_share_of_detections_false():
    """By a second fit: at the rate that was found, detections expected at empty sites are 5 % of
    all, under the model of Miller et al. 2011, Ecology 92:1422-1428, with that rate."""
    rng = np.random.default_rng(5)
    occupied = rng.random((3000, 1)) < 0.5
    heard = rng.random((3000, 3)) < np.where(occupied, 0.5, 0.03)
    certain = heard & occupied & (rng.random((3000, 3)) < 0.3)
    fit = fit_occupancy(heard)
    psi, _, false, _ = expit(fit_false_positive(heard, certain).fitted.coefficients)
    share = false * (1 - psi) * heard.size / heard.sum()
    assert false_rate(fit, float(share)) == pytest.approx(false, rel=0.05)
    assert false_rate(fit, 0.05) == pytest.approx(0.05 / share * false, rel=0.1)


def test_rate_and_share_of_empty_sites_agree():
    """The equation that the rate solves, written out: false detections expected at empty sites."""
    rng = np.random.default_rng(6)
    heard = rng.random((800, 3)) < np.where(rng.random((800, 1)) < 0.5, 0.5, 0.03)
    fit = fit_occupancy(heard)
    rate = false_rate(fit, 0.2)
    cells = replace(fit.cells, false_rate=rate)
    end = maximize(objective(cells), fit.maximum.theta)
    empty = 1 - occupied_given_history(cells, end.theta)[cells.group]
    assert rate * 3 * empty.sum() == pytest.approx(0.2 * heard.sum(), rel=1e-5)


def test_there_is_no_rate_where_nothing_was_fitted():
    assert false_rate(fit_occupancy(np.zeros((30, 3))), 0.05) is None
