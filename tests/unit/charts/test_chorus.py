"""The trend of the call index in words."""

import dataclasses

import pytest

from surveys.charts.chorus import chorus_sentence
from surveys.trends.estimates import (
    FEW_CLUSTERS,
    INDEX_NEVER_HEARD,
    INDEX_UNKNOWN,
    STEPS_DIFFER,
    TOO_FEW_DATA,
)
from surveys.trends.species_result import ChorusTrend
from tests.unit.charts.test_words import estimate, plain, result


def sentence(value, low, high, *flags):
    full = estimate(value, low, high, *flags)
    chorus = ChorusTrend(full_chorus=full, index_odds=full)
    told = dataclasses.replace(result(estimate(-2.0, -3.0, -1.0)), chorus=chorus)
    return plain(chorus_sentence(told))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ((-2.0, -3.0, -1.0), "fell by 2.0% per year (95% interval: 1.0 to 3.0%)."),
        ((2.0, 1.0, 3.0), "rose by 2.0% per year (95% interval: 1.0 to 3.0%)."),
    ],
)
def test_a_clear_change(change, says):
    assert sentence(*change) == f"Full chorus: the share of stops with it {says}"


def test_a_change_that_is_not_clear():
    assert sentence(-2.0, -5.0, 1.0) == (
        "Full chorus: there is no clear change in the share of stops with it: -2.0% per year (95% "
        "interval: -5.0 to +1.0%)."
    )


def test_its_limits_stand_behind_it():
    assert sentence(2.0, 1.0, 3.0, INDEX_UNKNOWN).endswith(
        "Its limits: heard without a call index."
    )


@pytest.mark.parametrize(
    ("flag", "why"),
    [
        (INDEX_NEVER_HEARD, "it was never heard"),
        (TOO_FEW_DATA, "it was heard too rarely, or in too few seasons"),
        (STEPS_DIFFER, "it changes differently from the call index as a whole"),
        (FEW_CLUSTERS, "too few routes were surveyed"),
    ],
)
def test_why_none_is_told(flag, why):
    says = f"Full chorus: no trend is reported, because {why}."
    assert sentence(None, None, None, flag) == says


def test_blank_where_it_is_not_worked_out():
    assert chorus_sentence(result(estimate(-2.0, -3.0, -1.0))) == ""
