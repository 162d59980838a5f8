import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.protocol.seasons import (
    first_day,
    in_days,
    in_window,
    last_day,
    season_bounds,
    season_year,
    shortest_span,
    window_dates,
    window_of,
)
from surveys.protocol.values import (
    MonthDay,
    Protocol,
    SeasonWindow,
)
from tests.unit.protocol.cases import steady


def md(text):
    month, day = text.split("-")
    return MonthDay(month=int(month), day=int(day))


def window(opens, closes, name="Window"):
    return SeasonWindow(name=name, opens=md(opens), closes=md(closes))


date = dt.date.fromisoformat
month_days = st.dates(dt.date(2000, 1, 1), dt.date(2000, 12, 31)).map(
    lambda d: MonthDay(month=d.month, day=d.day)
)
nights = st.dates(dt.date(1990, 1, 1), dt.date(2060, 12, 31))


@pytest.mark.parametrize(
    ("night", "begins", "year"),
    [
        # The calendar year
        ("2024-01-01", "01-01", 2024),
        ("2024-12-31", "01-01", 2024),
        # A season that crosses New Year is named after the year in which it ends
        ("2024-08-31", "09-01", 2024),
        ("2024-09-01", "09-01", 2025),
        ("2024-12-31", "09-01", 2025),
        ("2025-01-01", "09-01", 2025),
        ("2025-08-31", "09-01", 2025),
        # Beginning on the second day of the year, it still ends in the next one
        ("2024-01-01", "01-02", 2024),
        ("2024-01-02", "01-02", 2025),
        # Beginning on 29 February: on 1 March in a year without one
        ("2024-02-28", "02-29", 2024),
        ("2024-02-29", "02-29", 2025),
        ("2025-02-28", "02-29", 2025),
        ("2025-03-01", "02-29", 2026),
        # Leap day inside a season
        ("2024-02-29", "09-01", 2024),
    ],
)
def test_season_year(night, begins, year):
    assert season_year(date(night), md(begins)) == year


@pytest.mark.parametrize(
    ("year", "begins", "first", "last"),
    [
        (2024, "01-01", "2024-01-01", "2024-12-31"),
        (2025, "09-01", "2024-09-01", "2025-08-31"),
        (2024, "03-01", "2023-03-01", "2024-02-29"),
        (2025, "03-01", "2024-03-01", "2025-02-28"),
        (2025, "02-29", "2024-02-29", "2025-02-28"),
        (2024, "02-29", "2023-03-01", "2024-02-28"),
    ],
)
def test_season_bounds(year, begins, first, last):
    assert season_bounds(year, md(begins)) == (date(first), date(last))


@steady
@given(night=nights, begins=month_days)
def test_every_night_lies_in_the_bounds_of_its_season_year(night, begins):
    first, last = season_bounds(season_year(night, begins), begins)
    assert first <= night <= last
    assert season_bounds(season_year(night, begins) + 1, begins)[0] == last + dt.timedelta(days=1)


@pytest.mark.parametrize(
    ("night", "opens", "closes", "inside"),
    [
        ("2024-04-14", "04-15", "05-15", False),
        ("2024-04-15", "04-15", "05-15", True),
        ("2024-05-15", "04-15", "05-15", True),
        ("2024-05-16", "04-15", "05-15", False),
        # Across New Year
        ("2024-12-14", "12-15", "03-10", False),
        ("2024-12-15", "12-15", "03-10", True),
        ("2024-12-31", "12-15", "03-10", True),
        ("2025-01-01", "12-15", "03-10", True),
        ("2024-02-29", "12-15", "03-10", True),
        ("2025-03-10", "12-15", "03-10", True),
        ("2025-03-11", "12-15", "03-10", False),
        # One day
        ("2024-05-01", "05-01", "05-01", True),
        ("2024-05-02", "05-01", "05-01", False),
        # Leap days at the edges
        ("2024-02-29", "02-01", "02-28", False),
        ("2024-02-29", "02-01", "02-29", True),
        ("2025-02-28", "02-01", "02-29", True),
        ("2025-03-01", "02-01", "02-29", False),
        ("2025-03-01", "02-29", "03-10", True),
        ("2025-02-28", "02-29", "03-10", False),
    ],
)
def test_in_window(night, opens, closes, inside):
    assert in_window(date(night), window(opens, closes)) is inside
    assert in_days(date(night), md(opens), md(closes)) is inside


def test_window_of_takes_the_first_that_holds_the_night():
    first, second = window("12-01", "01-10", "First"), window("01-10", "02-10", "Second")
    protocol = Protocol(
        name="p",
        version=1,
        season_year_begins=md("09-01"),
        windows=(first, second),
        listening_time=dt.timedelta(minutes=5),
    )
    assert window_of(date("2025-01-10"), protocol) is first
    assert window_of(date("2025-01-11"), protocol) is second
    assert window_of(date("2025-02-11"), protocol) is None


@pytest.mark.parametrize(
    ("opens", "closes", "year", "begins", "first", "last"),
    [
        ("04-15", "05-15", 2024, "01-01", "2024-04-15", "2024-05-15"),
        ("12-15", "03-10", 2025, "09-01", "2024-12-15", "2025-03-10"),
        ("12-15", "02-29", 2024, "09-01", "2023-12-15", "2024-02-29"),
        ("12-15", "02-29", 2025, "09-01", "2024-12-15", "2025-02-28"),
        ("02-29", "03-10", 2025, "09-01", "2025-03-01", "2025-03-10"),
        ("01-11", "02-10", 2025, "09-01", "2025-01-11", "2025-02-10"),
        ("10-01", "10-31", 2025, "09-01", "2024-10-01", "2024-10-31"),
        ("09-01", "08-31", 2025, "09-01", "2024-09-01", "2025-08-31"),
        ("05-01", "05-01", 2025, "09-01", "2025-05-01", "2025-05-01"),
    ],
)
def test_window_dates(opens, closes, year, begins, first, last):
    dates = window_dates(window(opens, closes), year, md(begins))
    assert dates == (date(first), date(last))


@steady
@given(night=nights, opens=month_days, closes=month_days)
def test_window_dates_hold_the_nights_of_the_window(night, opens, closes):
    """With a season that begins on the day the window opens, no window straddles it."""
    window_ = SeasonWindow(name="w", opens=opens, closes=closes)
    first, last = window_dates(window_, season_year(night, opens), opens)
    assert in_window(night, window_) is (first <= night <= last)


def test_first_and_last_day_of_a_leap_day():
    assert first_day(2025, md("02-29")) == date("2025-03-01")
    assert last_day(2025, md("02-29")) == date("2025-02-28")
    assert first_day(2024, md("02-29")) == last_day(2024, md("02-29")) == date("2024-02-29")


@pytest.mark.parametrize(
    ("seasons", "span"),
    [
        ([("04-10", "06-30")], ("04-10", "06-30")),
        ([("04-10", "06-30"), ("05-01", "07-31")], ("04-10", "07-31")),
        ([("12-01", "04-30"), ("01-01", "04-15")], ("12-01", "04-30")),
        ([("11-15", "01-31"), ("02-10", "03-31")], ("11-15", "03-31")),
        ([("02-29", "03-01"), ("01-15", "02-28")], ("01-15", "03-01")),
        ([("10-01", "04-30"), ("04-01", "10-31")], None),
        ([], None),
    ],
    ids=["one", "overlap", "inside", "apart across New Year", "leap day", "whole year", "none"],
)
def test_the_shortest_span_of_seasons(seasons, span):
    found = shortest_span([(md(first), md(last)) for first, last in seasons])
    assert found == (span and (md(span[0]), md(span[1])))


@given(st.lists(st.tuples(month_days, month_days), min_size=1, max_size=3), nights)
def test_a_span_holds_every_day_of_its_seasons(seasons, night):
    span = shortest_span(seasons)
    if any(in_days(night, *season) for season in seasons):
        assert span is None or in_days(night, *span)
