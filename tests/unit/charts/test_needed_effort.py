"""How many more seasons or routes a trend needs, in words."""

import dataclasses

import pytest

from surveys.charts.needed_effort import needed_sentence
from surveys.trends.estimates import TOO_FEW_DATA
from surveys.trends.models.needed_effort import NeededEffort
from tests.unit.charts.test_words import estimate, plain, result

NEEDED = NeededEffort(
    percent=-3.0, aim=0.8, chance=0.31, years=7, routes=12, years_low=4, years_high=11
)
TODAY = "With this many seasons and routes, the chance to notice a decline of 3% per year is"
MORE = "more seasons with these routes"
ALL = "in all of these seasons."
ENDS = "because the scatter of years is uncertain"
NO_ROUTES = "More routes alone would not be enough: good and bad years move all of them together."


def said(needed, *flags):
    told = result(estimate(-2.0, -3.0, -1.0, *flags))
    return plain(
        needed_sentence(
            dataclasses.replace(told, trend=dataclasses.replace(told.trend, needed=needed))
        )
    )


@pytest.mark.parametrize(
    ("changes", "years", "routes"),
    [
        (
            {},
            f"about 7 {MORE} (4 to 11, {ENDS})",
            f"Or it would have taken about 12 more routes {ALL}",
        ),
        ({"years_high": None, "routes": None}, f"about 7 {MORE} (4 or more, {ENDS})", NO_ROUTES),
        (
            {"years": 1, "routes": 1, "years_low": 1, "years_high": 1},
            "about 1 more season with these routes",
            f"Or it would have taken about 1 more route {ALL}",
        ),
        (
            {"years": None, "years_low": 9, "years_high": None},
            f"more than 40 {MORE}",
            f"Or it would have taken about 12 more routes {ALL}",
        ),
    ],
)
def test_what_it_takes(changes, years, routes):
    expected = f"{TODAY} 31%. To reach 80%, it takes {years}. {routes}"
    assert said(dataclasses.replace(NEEDED, **changes)) == expected


def test_where_it_is_reached_nothing_more_is_asked_for():
    reached = dataclasses.replace(NEEDED, chance=0.86, years=0, routes=0)
    assert said(reached) == f"{TODAY} 86%."


def test_nothing_is_noticed_for_sure():
    reached = dataclasses.replace(NEEDED, chance=0.9999, years=0, routes=0)
    assert said(reached) == f"{TODAY} more than 99%."


def test_blank_without_a_trend():
    assert said(None) == ""
    assert said(NEEDED, TOO_FEW_DATA) == ""
