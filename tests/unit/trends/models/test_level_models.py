"""Forms of detection: confirmations by people who saw the sheet and by people who did not."""

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import expit

from surveys.trends.models.level_models import with_certain

OCCUPIED, HEARD, FALSE = 0.4, 0.6, 0.1
SITES = 3000


@pytest.fixture(scope="module")
def drawn():
    """At a third of the sites every detection is heard again without the sheet, and 9 in 10 of the
    right ones confirmed; elsewhere somebody who saw the sheet confirms 1 in 5 of the right ones."""
    rng = np.random.default_rng(3)
    there = (rng.random(SITES) < OCCUPIED)[:, None]
    heard = rng.random((SITES, 3)) < np.where(there, HEARD, FALSE)
    again = (np.arange(SITES) % 3 == 0)[:, None]
    checked = heard & again
    certain = heard & there & (rng.random(heard.shape) < np.where(again, 0.9, 0.2))
    return heard * 1.0, certain, checked


def estimated(heard, certain, checked):
    one = np.ones((SITES, 1))
    model = with_certain(certain, checked).of_rows(heard, one, one, np.arange(SITES))
    start = np.concatenate([[0.0, 0.0], model.start])

    def climb(theta):
        value, slope = model.objective.value_gradient(theta)
        return -value, -slope

    return expit(minimize(climb, start, jac=True, method="BFGS").x)


def test_each_kind_of_confirmation_has_a_chance_of_its_own(drawn):
    heard, certain, checked = drawn
    expected = [OCCUPIED, HEARD, FALSE, 0.9, 0.2]
    assert estimated(heard, certain, checked) == pytest.approx(expected, abs=0.04)


def test_detections_that_nobody_tried_to_confirm_say_nothing_of_confirmation(drawn):
    heard, certain, checked = drawn
    found = estimated(heard, certain & checked, checked)
    assert found == pytest.approx([OCCUPIED, HEARD, FALSE, 0.9], abs=0.04)


def test_where_nothing_was_heard_again_every_detection_could_have_been_confirmed(drawn):
    heard, certain, checked = drawn
    for none in (None, np.zeros_like(checked)):
        assert len(estimated(heard, certain, none)) == 4
