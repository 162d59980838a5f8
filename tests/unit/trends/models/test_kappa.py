"""Agreement of two listeners."""

import numpy as np
import pytest

from surveys.trends import estimates
from surveys.trends.models.kappa import agreement_table, cohen_kappa

NAN = float("nan")
WEIGHTS = ["none", "linear", "squared"]


def test_table_counts_pairs_and_leaves_out_missing():
    table = agreement_table([0, 1, 3, NAN, 2], [0, 2, 3, 1, NAN])
    assert table.sum() == 3
    assert (table[0, 0], table[1, 2], table[3, 3]) == (1, 1, 1)


@pytest.mark.parametrize("weights", WEIGHTS)
class TestKappa:
    def test_full_agreement_is_one(self, weights):
        found = cohen_kappa(np.diag([5, 4, 3, 2]), weights=weights)
        assert found.value == pytest.approx(1.0)
        assert found.high == 1.0

    def test_independent_listeners_are_at_zero(self, weights):
        assert cohen_kappa(np.outer([3, 2, 1], [2, 2, 2]), weights=weights).value == pytest.approx(
            0.0
        )

    def test_listeners_may_swap(self, weights):
        table = np.array([[9, 2, 0], [1, 7, 3], [1, 0, 5]])
        one, other = cohen_kappa(table, weights=weights), cohen_kappa(table.T, weights=weights)
        assert one.value == pytest.approx(other.value)
        assert one.se == pytest.approx(other.se)

    def test_interval_covers_the_truth(self, weights):
        rng = np.random.default_rng(1)
        joint = np.array([[40, 4, 0, 0], [5, 20, 3, 0], [0, 4, 12, 2], [0, 0, 1, 9]]) / 100
        truth = cohen_kappa(joint * 1e9, weights=weights).value
        held = 0
        for _ in range(300):
            found = cohen_kappa(rng.multinomial(120, joint.ravel()).reshape(4, 4), weights=weights)
            held += found.low <= truth <= found.high
        assert 270 <= held <= 296

    @pytest.mark.parametrize("table", [np.zeros((4, 4)), np.diag([7, 0, 0, 0])])
    def test_undefined_when_chance_agrees_always(self, weights, table):
        found = cohen_kappa(table, weights=weights)
        assert found.value is None
        assert estimates.NOT_IDENTIFIED in found.flags


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: agreement_table([0], [0, 1]), "lengths"),
        (lambda: agreement_table([[0]], [0]), "first"),
        (lambda: agreement_table([0], [[0]]), "second"),
        (lambda: agreement_table([4], [0]), "whole numbers"),
        (lambda: cohen_kappa(np.zeros((2, 3))), "square"),
        (lambda: cohen_kappa([[1, -1], [0, 1]]), "square table of counts"),
        (lambda: cohen_kappa(np.eye(2), weights="cubic"), "weights"),
    ],
)
def test_wrong_input_is_refused(ask, words):
    with pytest.raises(ValueError, match=words):
        ask()
