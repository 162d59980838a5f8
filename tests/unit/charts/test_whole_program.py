"""The whole program in words."""

import dataclasses

import pytest

from surveys.charts.whole_program import whole_sentence, whole_shares
from surveys.trends.estimates import (
    FEW_CLUSTERS,
    REGION_FEW_ROUTES,
    REGION_NOT_SURVEYED,
    REGION_NOT_WEIGHTED,
    REGION_SILENT,
    REGION_UNKNOWN,
)
from surveys.trends.species_result import WholeProgram
from tests.unit.charts.test_words import estimate, plain, result


def of_whole(change, *shares):
    whole = WholeProgram(change=change, shares=shares)
    return dataclasses.replace(result(estimate(-2.0, -3.0, -1.0)), whole=whole)


SHARE = "In the whole program, with its regions weighted, the share of occupied stops"
NO = "there is no clear change in the share of occupied stops:"


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (
            estimate(-2.0, -3.0, -1.0, REGION_SILENT),
            f"{SHARE} fell by 2.0% per year (95% interval: 1.0 to 3.0%).",
        ),
        (
            estimate(2.0, 1.0, 3.0),
            f"{SHARE} rose by 2.0% per year (95% interval: 1.0 to 3.0%).",
        ),
    ],
)
def test_a_clear_change_of_the_whole(change, says):
    assert plain(whole_sentence(of_whole(change), "stop")) == says


def test_a_change_that_is_not_clear():
    text = plain(whole_sentence(of_whole(estimate(-2.0, -5.0, 1.0)), "stop"))
    assert f"{NO} -2.0% per year (95% interval: -5.0 to +1.0%)." in text


@pytest.mark.parametrize(
    ("flag", "why"),
    [
        (REGION_FEW_ROUTES, "a region has fewer than 4 routes"),
        (REGION_NOT_WEIGHTED, "some routes lie in a region without a weight, or in none"),
        (REGION_NOT_SURVEYED, "a region with a weight has no surveys of it"),
        (REGION_UNKNOWN, "the surveys of a region are not enough for its share"),
        (FEW_CLUSTERS, "too few routes were surveyed"),
    ],
)
def test_why_nothing_is_told(flag, why):
    text = plain(whole_sentence(of_whole(estimate(None, None, None, flag)), "stop"))
    assert text == f"Nothing is reported for the whole program, because {why}."


def test_a_number_in_doubt_is_not_told():
    text = whole_sentence(of_whole(estimate(-2.0, -3.0, -1.0, FEW_CLUSTERS)), "stop")
    assert "2.0" not in text


def test_without_weights_there_is_no_sentence_and_no_column():
    unweighted = result(estimate(-2.0, -3.0, -1.0))
    assert whole_sentence(unweighted, "stop") == ""
    assert whole_shares(unweighted) == {}


def test_shares_come_with_their_intervals():
    shares = of_whole(estimate(1.0, 0.5, 2.0), (2023, estimate(0.4, 0.3, 0.5)))
    assert plain(whole_shares(shares)[2023]) == "40% (30 to 50%)"
