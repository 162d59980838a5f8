"""Occupancy with false positives where published models are its ends, and numbers by hand."""

import numpy as np
import pytest
from scipy.special import logit

from surveys.trends.models.false_positive_likelihood import false_positive_cells, objective
from surveys.trends.models.occupancy_likelihood import log_likelihood, occupancy_cells


def cells_of(history, certain, *, b):
    rows = len(history)
    return false_positive_cells(
        np.array(history, dtype=float),
        np.array(certain, dtype=bool),
        psi_design=np.ones((rows, 1)),
        p_design=np.ones((rows, 1)),
        false_design=np.ones((rows, 1)),
        false_offset=np.zeros(rows),
        certain_design=np.ones((rows, 1 if b else 0)),
    )


def chance(history, certain, *chances):
    cells = cells_of([history], [certain], b=len(chances) == 4)
    return np.exp(objective(cells).value_gradient(logit(np.array(chances)))[0])


def test_table_of_chances():
    """Miller et al. 2011, Ecology 92:1422-1428, chances of 0 (nothing), 1 (uncertain) and 2
    (certain): 1 - p11, p11 (1 - b) and p11 b at occupied sites, 1 - p10, p10 and 0 at empty ones
    (from memory). psi .5, p11 .6, p10 .1, b .25, worked by hand:
    Pr(0 1) = .5 (.4)(.45) + .5 (.9)(.1) = .135; Pr(0 2) = .5 (.4)(.15) = .03."""
    assert chance([0, 1], [0, 0], 0.5, 0.6, 0.1, 0.25) == pytest.approx(0.135, abs=1e-12)
    assert chance([0, 1], [0, 1], 0.5, 0.6, 0.1, 0.25) == pytest.approx(0.03, abs=1e-12)


def test_without_certain_detections_states_can_be_exchanged():
    """Royle & Link 2006, Ecology 87:835-841: (psi, p11, p10) and (1 - psi, p10, p11) have the same
    likelihood, which is why uncertain detections alone identify nothing."""
    history = [1, 0, 1, 1]
    one = chance(history, [0] * 4, 0.7, 0.8, 0.2)
    assert one == pytest.approx(0.7 * 0.8**3 * 0.2 + 0.3 * 0.2**3 * 0.8, abs=1e-12)
    assert one == pytest.approx(chance(history, [0] * 4, 0.3, 0.2, 0.8), abs=1e-12)


def test_without_mistakes_it_is_the_plain_model():
    """MacKenzie et al. 2002, Ecology 83:2248-2255."""
    rng = np.random.default_rng(1)
    history = ((rng.random((50, 1)) < 0.5) & (rng.random((50, 3)) < 0.5)).astype(float)
    one = np.ones((50, 1))
    plain = log_likelihood(occupancy_cells(history, one, one), np.array([0.3, -0.2]))
    cells = cells_of(history, np.zeros(history.shape), b=False)
    value, _ = objective(cells).value_gradient(np.array([0.3, -0.2, -60.0]))
    assert value == pytest.approx(plain, abs=1e-9)
