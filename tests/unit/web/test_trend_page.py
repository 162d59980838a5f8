"""The changes of a species on the scales of its page."""

import dataclasses

import pytest

from surveys.trends.estimates import EDGE_OF_RANGE, JOINT_ENTRY_TOLD, POOR_FIT, TOO_FEW_DATA
from surveys.web.trends.page import trend_facts
from tests.unit.charts.test_words import estimate, result

CORRECTED = ("Share of sites", "Odds", "Percentage points", "All routes together")


def changes(*flags):
    """What the page says of the corrected trend and of the uncorrected share."""
    fallen = estimate(-2.1, -3.8, -0.4, *flags)
    doubted = result(fallen, naive=estimate(-5, -6, -4))
    trend = dataclasses.replace(doubted.trend, points=fallen, pooled=fallen)
    facts = trend_facts(dataclasses.replace(doubted, trend=trend))
    by_name = {name: change for name, change, _ in facts}
    return {by_name[name] for name in CORRECTED}, by_name["Heard, not corrected"]


@pytest.mark.parametrize("flag", [POOR_FIT, EDGE_OF_RANGE, TOO_FEW_DATA])
def test_no_number_stands_beside_the_reason_why_none_is_reported(flag):
    corrected, heard = changes(flag)
    assert corrected == {"no trend reported"}
    assert heard == "−5.0% (−6.0 to −4.0%) per year"


@pytest.mark.parametrize("flags", [(), (JOINT_ENTRY_TOLD,)])
def test_what_is_told_or_told_by_another_entry_has_its_numbers(flags):
    corrected, _ = changes(*flags)
    assert "−2.1% (−3.8 to −0.4%) per year" in corrected
    assert all(change.endswith("per year") for change in corrected)
