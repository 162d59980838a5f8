"""Season windows that fit each other and their season year, and those that do not."""

import pytest

from surveys.programs.windows import window_problems
from surveys.protocol.values import (
    MonthDay,
    SeasonWindow,
)


def window(name, opens, closes):
    return SeasonWindow(name=name, opens=MonthDay(**_day(opens)), closes=MonthDay(**_day(closes)))


def _day(text):
    month, day = text.split("-")
    return {"month": int(month), "day": int(day)}


EARLY = window("Early", "03-15", "04-20")
LATE = window("Late", "05-01", "06-15")
WINTER = window("Winter", "12-15", "03-15")
JANUARY = MonthDay(month=1, day=1)
SEPTEMBER = MonthDay(month=9, day=1)


@pytest.mark.parametrize(
    ("windows", "begins"),
    [
        ([EARLY, LATE], JANUARY),
        ([LATE, EARLY], JANUARY),
        ([WINTER], SEPTEMBER),
        ([WINTER, window("Spring", "03-16", "05-01")], SEPTEMBER),
        ([window("Leap", "02-01", "02-29"), window("March", "03-01", "03-31")], JANUARY),
        ([window("All year", "01-01", "12-31")], JANUARY),
    ],
    ids=["apart", "in any order", "over New Year", "touching", "to 29 February", "whole year"],
)
def test_windows_that_fit(windows, begins):
    assert window_problems(windows, begins) == []


@pytest.mark.parametrize(
    ("windows", "begins", "said"),
    [
        ([], JANUARY, "at least one"),
        ([WINTER], JANUARY, "“Winter” includes 1 January"),
        ([EARLY, window("Next", "04-20", "05-10")], JANUARY, "“Early” and “Next” overlap"),
        ([WINTER, EARLY], SEPTEMBER, "“Winter” and “Early” overlap"),
        ([EARLY, window("early", "05-01", "05-10")], JANUARY, "called “early”"),
    ],
    ids=["none", "over the season's beginning", "shared night", "over New Year", "same name"],
)
def test_windows_that_do_not_fit(windows, begins, said):
    assert any(said in problem for problem in window_problems(windows, begins))
