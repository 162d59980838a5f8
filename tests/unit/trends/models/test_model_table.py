"""Models side by side, by AIC."""

import numpy as np
import pytest

from surveys.trends.models.model_table import model_table
from surveys.trends.models.occupancy import fit_occupancy
from tests.unit.trends.simulated import occupancy_histories


def survey(seed):
    rng = np.random.default_rng(seed)
    return occupancy_histories(rng, psi=np.full(200, 0.6), p=np.full((200, 4), 0.5))


class TestModelTable:
    def test_better_model_comes_first_and_weights_add_up(self):
        rng = np.random.default_rng(7)
        fish = np.repeat([0.0, 1.0], 100)
        psi = np.where(fish > 0, 0.2, 0.8)
        history = occupancy_histories(rng, psi=psi, p=np.full((200, 3), 0.5))
        table = model_table(
            {
                "constant": fit_occupancy(history),
                "fish": fit_occupancy(history, occupancy={"fish": fish}),
            }
        )
        assert [row.name for row in table] == ["fish", "constant"]
        assert table[0].delta == 0.0
        assert (table[0].parameters, table[1].parameters) == (3, 2)
        assert sum(row.weight for row in table) == pytest.approx(1.0)

    def test_delta_of_two_has_the_weight_of_a_third(self):
        # exp(-1) : 1, so 0.2689 : 0.7311.
        fit = fit_occupancy(survey(8))
        table = model_table({"a": fit, "b": _Shifted(fit, 2.0)})
        assert [row.weight for row in table] == pytest.approx([0.7311, 0.2689], abs=1e-4)

    def test_models_without_a_fit_come_last(self):
        silent = fit_occupancy(np.zeros((200, 3)))
        table = model_table({"silent": silent, "heard": fit_occupancy(survey(8))})
        assert [row.name for row in table] == ["heard", "silent"]
        assert (table[1].aic, table[1].delta, table[1].weight) == (None, None, None)

    def test_different_rows_cannot_be_compared(self):
        with pytest.raises(ValueError, match="same rows"):
            model_table({"a": fit_occupancy(survey(8)), "b": fit_occupancy(survey(8)[:-1])})

    def test_no_models(self):
        assert model_table({}) == ()


class _Shifted:
    """A model whose AIC lies ``by`` above another's."""

    def __init__(self, fit, by):
        self.log_likelihood, self.rows, self.flags = fit.log_likelihood - by / 2, fit.rows, ()
        self.aic, self.coefficients = fit.aic + by, fit.coefficients
