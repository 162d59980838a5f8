import datetime as dt

import pytest

from surveys import dates
from surveys.dates import AMERICAN, ClockStyle, DateError, DateOrder, DateStyle, read_date
from surveys.protocol.nights import parse_clock
from tests.support.date_cases import CLOCK_STYLES, CLOCKS, DAYS, ORDERS

EVENING = dt.datetime(2024, 4, 16, 2, 14, 9, tzinfo=dt.UTC)


@pytest.mark.parametrize(("time", "seconds", "twelve", "twenty_four"), CLOCKS)
def test_clock_times(time, seconds, twelve, twenty_four):
    at = dt.time.fromisoformat(time)
    for clock, words in zip(CLOCK_STYLES, (twelve, twenty_four), strict=True):
        with dates.using(DateStyle(clock=clock)):
            assert dates.time_of_day(at, seconds=seconds) == words
        # What is shown can be typed.
        assert parse_clock(words) == (at if seconds else at.replace(second=0))


@pytest.mark.parametrize(("date", *ORDERS), DAYS)
def test_days(date, mdy, dmy, ymd):
    day = dt.date.fromisoformat(date)
    for order, (whole, without_year) in zip(ORDERS, (mdy, dmy, ymd), strict=True):
        with dates.using(DateStyle(order=order)):
            assert dates.day(day) == whole
            assert dates.month_day(day) == without_year
            # What is shown can be typed.
            assert read_date(whole, order) == read_date(dates.in_digits(day), order) == day


def test_other_forms():
    monday = dt.date(2024, 4, 15)
    with dates.using(AMERICAN):
        assert dates.weekday_day(monday) == "Monday, April 15, 2024"
        assert dates.short_day(monday) == "Apr 15, 2024"
        assert dates.short_month_day(monday) == "Apr 15"
        assert dates.span(monday, dt.date(2024, 5, 1)) == "April 15 to May 1"
    assert dates.weekday_day(monday) == "Monday, 15 April 2024"
    assert dates.short_day(monday) == "15 Apr 2024"


def test_an_instant_has_its_day_and_time_in_the_zone_of_the_program():
    with dates.using(DateStyle(time_zone="America/Chicago")):
        assert dates.day(EVENING) == "15 April 2024"
        assert dates.clock(EVENING) == "21:14"
        assert dates.clock(EVENING.replace(second=59)) == "21:14"
        assert dates.moment(EVENING) == "15 Apr 2024, 21:14"
        assert dates.moment(EVENING, seconds=True) == "15 Apr 2024, 21:14:09"
    with dates.using(AMERICAN):
        assert dates.moment(EVENING) == "Apr 16, 2024, 2:14\u00a0am"
        assert dates.clock(EVENING, "America/Chicago") == "9:14\u00a0pm"


@pytest.mark.parametrize(
    ("text", "order", "date"),
    [
        ("3/12/2026", DateOrder.MONTH_FIRST, "2026-03-12"),
        ("3/12/2026", DateOrder.DAY_FIRST, "2026-12-03"),
        ("3.12.2026", DateOrder.DAY_FIRST, "2026-12-03"),
        ("2026/3/12", DateOrder.MONTH_FIRST, "2026-03-12"),
        ("2026-03-12", DateOrder.DAY_FIRST, "2026-03-12"),
        ("12 Mar 2026", DateOrder.MONTH_FIRST, "2026-03-12"),
        ("March 12, 2026", DateOrder.DAY_FIRST, "2026-03-12"),
        ("March 12, 2026", None, "2026-03-12"),
    ],
)
def test_typed_dates(text, order, date):
    assert read_date(text, order) == dt.date.fromisoformat(date)


@pytest.mark.parametrize(
    ("text", "order", "variant"),
    [
        ("3/12/2026", None, "date-order"),
        ("3/12/2026", DateOrder.YEAR_FIRST, "date-order"),
        ("13/3/2026", DateOrder.MONTH_FIRST, "calendar"),
        ("3/13/2026", DateOrder.DAY_FIRST, "calendar"),
        ("3/12/26", DateOrder.MONTH_FIRST, "date"),
        ("next week", DateOrder.MONTH_FIRST, "date"),
        ("12 Foo 2026", DateOrder.DAY_FIRST, "calendar"),
    ],
)
def test_dates_that_are_not_guessed(text, order, variant):
    with pytest.raises(DateError) as refusal:
        read_date(text, order)
    assert refusal.value.variant == variant


@pytest.mark.parametrize(
    ("country", "us_units", "clock", "order"),
    [
        ("US", False, ClockStyle.TWELVE, DateOrder.MONTH_FIRST),
        ("CA", False, ClockStyle.TWELVE, DateOrder.YEAR_FIRST),
        ("AU", False, ClockStyle.TWELVE, DateOrder.DAY_FIRST),
        ("DE", True, ClockStyle.TWENTY_FOUR, DateOrder.DAY_FIRST),
        ("", True, ClockStyle.TWELVE, DateOrder.MONTH_FIRST),
        ("", False, ClockStyle.TWENTY_FOUR, DateOrder.DAY_FIRST),
    ],
)
def test_usual_style(country, us_units, clock, order):
    usual = dates.usual_style(country, fahrenheit_and_miles=us_units)
    assert (usual.clock, usual.order) == (clock, order)


def test_a_style_that_is_asked_for_when_the_first_date_is_written():
    asked = []

    def find():
        asked.append(1)
        return AMERICAN

    with dates.using(find):
        assert asked == []
        assert dates.month_day(EVENING) == "April 16"
        dates.use(DateStyle())
        assert dates.month_day(EVENING) == "16 April"
    assert asked == [1]
