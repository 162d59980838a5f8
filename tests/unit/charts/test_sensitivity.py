"""Whether the answer is the same under other choices: one glance."""

import dataclasses

import pytest

from surveys.charts.sensitivity import by_stop_and_by_route, check_rows, check_sentence
from surveys.trends.estimates import (
    FEW_CLUSTERS,
    JOINT_ENTRY_TOLD,
    LEVEL_NOT_KNOWN,
    MEMBERS_TOLD,
    NOT_IDENTIFIED,
    TOO_FEW_DATA,
    flagged,
)
from surveys.trends.sensitivity import BY_ROUTE, CORRELATED, EVERY_SEASON, sites_disagree
from surveys.trends.species_result import SensitivityLine
from tests.unit.charts.test_words import estimate, plain, result

FALL, NONE, RISE = (
    estimate(-2.0, -3.0, -1.0), estimate(-1.0, -3.0, 1.0), estimate(2.0, 1.0, 3.0),
)  # fmt: skip
UNKNOWN = estimate(None, None, None, TOO_FEW_DATA)


def line(name, change, *, applies=True):
    return SensitivityLine(name=name, change=change, routes=12, seasons=9, applies=applies)


def checked(told, *lines):
    return dataclasses.replace(result(told), sensitivity=(line("all-data", told), *lines))


def test_every_line_has_its_change_and_what_it_would_say():
    rows = check_rows(
        checked(
            FALL, line("a", NONE), line("b", RISE), line("c", UNKNOWN),
            line("d", FALL, applies=False), line("e", estimate(None, None, None, NOT_IDENTIFIED)),
            line("f", estimate(-2.0, -3.0, -1.0, FEW_CLUSTERS)),
            line("g", estimate(-2.0, -3.0, -1.0, LEVEL_NOT_KNOWN)),
        )
    )  # fmt: skip
    assert [(name, plain(change), says) for name, change, says in rows] == [
        ("all data", "-2.0% (-3.0 to -1.0%)", "fell"),
        ("a", "-1.0% (-3.0 to +1.0%)", "no clear change"),
        ("b", "+2.0% (+1.0 to +3.0%)", "rose"),
        ("c", "", "not enough data"),
        ("d", "", "nothing to leave out"),
        ("e", "", "no estimate possible"),
        ("f", "-2.0% (-3.0 to -1.0%)", "not enough data"),
        ("g", "-2.0% (-3.0 to -1.0%)", "fell (share of sites not known)"),
    ]


@pytest.mark.parametrize("flag", [JOINT_ENTRY_TOLD, MEMBERS_TOLD])
def test_nothing_is_checked_of_an_entry_whose_group_is_told_by_another(flag):
    told = checked(NONE, line("a", NONE), line(BY_ROUTE, FALL))
    trend = dataclasses.replace(told.trend, occupancy=flagged(NONE, flag))
    other = dataclasses.replace(told, trend=trend)
    assert by_stop_and_by_route(told) is not None
    assert check_sentence(other) == "No trend is reported, so there is nothing to check."
    assert check_rows(other) == []
    assert by_stop_and_by_route(other) is None


@pytest.mark.parametrize(
    ("told", "lines", "says"),
    [
        (
            FALL,
            [FALL, FALL],
            "The answer is the same under all 2 other choices that could be tried.",
        ),
        (NONE, [NONE], "The answer is the same under the one other choice that could be tried."),
        (FALL, [UNKNOWN], "No other choice could be tried."),
        (
            FALL,
            [FALL, NONE, RISE, UNKNOWN],
            ("The answer differs under 2 of 3 other choices: b (no clear change) and c (rose)."),
        ),
        (NONE, [FALL], "The answer differs under 1 of 1 other choices: a (fell)."),
        (
            estimate(-2.0, -3.0, -1.0, FEW_CLUSTERS),
            [FALL],
            "No trend is reported, so there is nothing to check.",
        ),
    ],
    ids=["all", "one", "none to try", "two against", "clear against unclear", "no sentence"],
)
def test_one_glance(told, lines, says):
    named = [line(name, change) for name, change in zip("abcd", lines, strict=False)]
    found = checked(told, *named)
    assert check_sentence(found) == says
    assert bool(check_rows(found)) is (told.flags == ())


def test_nothing_checked_says_nothing():
    assert check_sentence(result(FALL)) == ""


@pytest.mark.parametrize(
    ("told", "by_route", "shown"),
    [(FALL, NONE, True), (FALL, RISE, True), (FALL, FALL, False), (FALL, UNKNOWN, False)],
)
def test_by_stop_and_by_route_are_shown_where_they_say_different_things(told, by_route, shown):
    found = checked(
        told, line(EVERY_SEASON, NONE), line(CORRELATED, NONE), line(BY_ROUTE, by_route)
    )
    assert (by_stop_and_by_route(found) is not None) is shown
    assert sites_disagree(found.sensitivity) is shown
    if shown:
        stop, _ = by_stop_and_by_route(found)
        assert plain(stop) == "-2.0% (-3.0 to -1.0%)"
