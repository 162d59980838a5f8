"""The chance to see a fall, in words."""

from dataclasses import replace

import pytest

from surveys.trends import wilson
from surveys.trends.estimates import NOT_IDENTIFIED
from surveys.trends.power import (
    PowerCell,
    SurveyPlan,
)
from surveys.web.power.words import (
    aim_sentence,
    power_alt,
    power_rows,
    power_sentence,
)

PLAN = SurveyPlan(routes=12, stops_per_route=10, visits=3, years=10, occupancy=0.4, detection=0.5)


def cells(*chances):
    """Two numbers of routes by two of visits."""
    places = ((12, 2), (12, 3), (24, 2), (24, 3))
    return tuple(
        PowerCell(routes=routes, visits=visits, chance=wilson(heard, 200))
        for (routes, visits), heard in zip(places, chances, strict=True)
    )


FEW = cells(60, 92, 120, 150)


def plain(text):
    return text.replace("\N{NO-BREAK SPACE}", " ")


def test_sentence():
    assert plain(power_sentence("wood frogs", PLAN, FEW)) == (
        "With 12 routes and 3 visits per year, there is a 46% chance to notice a decline of 30% "
        "in 10 years in the share of stops with wood frogs."
    )


def test_one_visit_shows_nothing_and_says_why():
    blind = PowerCell(routes=12, visits=1, chance=replace(wilson(0, 200), flags=(NOT_IDENTIFIED,)))
    text = power_sentence("wood frogs", replace(PLAN, visits=1), (blind, *FEW))
    assert "1 visit per year, no decline" in text
    assert "Without a second visit" in text


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (FEW, "No plan in the table reaches the usual goal of 80%"),
        (cells(60, 92, 170, 180), "80%: 24 routes and 2 visits per year"),
        (cells(60, 170, 180, 190), "That is at least the usual goal of 80%"),
    ],
)
def test_aim(found, words):
    assert words in plain(aim_sentence(PLAN, found))


def test_rows_mark_the_plan():
    rows = power_rows(PLAN, FEW)
    assert [row.routes for row in rows] == [12, 24]
    assert [asked for row in rows for _, asked, _ in row.cells] == [False, True, False, False]
    assert [visits for row in rows for _, _, visits in row.cells] == [2, 3, 2, 3]
    assert plain(rows[0].cells[1][0]) == "46% (39 to 53%)"


def test_alt():
    assert "With 2 visits per year: 30% with 12 routes, 60% with 24." in plain(
        power_alt("wood frogs", PLAN, FEW)
    )
