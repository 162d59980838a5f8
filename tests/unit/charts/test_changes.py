"""What changes did, in words."""

import pytest

from surveys.charts.changes import effect_sentence
from surveys.trends import Estimate, wilson
from surveys.trends.change_effect import ChangeEffect, ShareHeard
from surveys.trends.estimates import DID_NOT_CONVERGE, TOO_FEW_DATA, not_estimable


def effect(odds):
    share = ShareHeard(sites=4, heard=wilson(1, 4))
    return ChangeEffect(
        kind="burned", odds=odds, stops=6, routes=5, unchanged=40, unchanged_routes=9,
        shares=(share,) * 4,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("value", "low", "high", "words"),
    [
        (0.5, 0.3, 0.9, "fell to 0.5 times what they were (95% interval: 0.3 to 0.9)"),
        (2.0, 1.1, 240.2, "rose to 2 times what they were (95% interval: 1.1 to 240)"),
        (0.7, 0.3, 1.4, "Burned: no clear effect."),
    ],
)
def test_an_effect_has_a_direction_only_where_its_interval_has(value, low, high, words):
    odds = Estimate(name="", value=value, low=low, high=high, interval="", method="")
    assert words in effect_sentence(effect(odds))


def test_why_an_effect_is_unknown():
    few = not_estimable("", method="", flags=(TOO_FEW_DATA,))
    assert "It takes 5 changed stops on 4 routes" in effect_sentence(effect(few))
    lost = not_estimable("", method="", flags=(DID_NOT_CONVERGE,))
    assert effect_sentence(effect(lost)) == "Burned: the effect is unknown (did not converge)."
