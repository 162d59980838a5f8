import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surveys.protocol.nights import (
    Ambiguous,
    ClockError,
    Missing,
    night_of,
    parse_clock,
    to_instant,
)
from tests.unit.protocol.cases import steady

CHICAGO = "America/Chicago"


def utc(text):
    return dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC)


@pytest.mark.parametrize(
    ("text", "clock"),
    [
        ("21:14", "21:14"),
        ("21.14", "21:14"),
        ("21h14", "21:14"),
        (" 2114 ", "21:14"),
        ("914 pm", "21:14"),
        ("9:14 pm", "21:14"),
        ("9.14 pm", "21:14"),
        ("9:14PM", "21:14"),
        ("9:14 p.m.", "21:14"),
        ("9 pm", "21:00"),
        ("1 pm", "13:00"),
        ("23:59:59", "23:59:59"),
        ("9:14 am", "09:14"),
        ("12:05 am", "00:05"),
        ("12:05 pm", "12:05"),
        ("0:05", "00:05"),
        ("005", "00:05"),
        ("24:00", "00:00"),
        ("2400", "00:00"),
        ("21:14:30", "21:14:30"),
        ("9:14:30 pm", "21:14:30"),
    ],
)
def test_typed_clock_times(text, clock):
    assert parse_clock(text) == dt.time.fromisoformat(clock)


@pytest.mark.parametrize(
    ("text", "variant"),
    [
        ("", "clock"),
        ("9", "clock"),
        ("soon", "clock"),
        ("pm", "clock"),
        ("21:1", "clock"),
        ("21145", "clock"),
        ("25:00", "clock-hour"),
        ("24:01", "clock-hour"),
        ("21:60", "clock-minute"),
        ("21:14:60", "clock-minute"),
        ("13:00 pm", "clock-half"),
        ("0:30 am", "clock-half"),
    ],
)
def test_a_time_that_cannot_be_read_says_why(text, variant):
    with pytest.raises(ClockError) as caught:
        parse_clock(text)
    assert caught.value.variant == variant


@pytest.mark.parametrize(
    ("clock", "night", "instant"),
    [
        ("21:14", "2024-04-15", "2024-04-16 02:14"),
        # Before noon belongs to the next date
        ("00:40", "2024-04-15", "2024-04-16 05:40"),
        ("11:59", "2024-04-15", "2024-04-16 16:59"),
        ("12:00", "2024-04-15", "2024-04-15 17:00"),
        # Over New Year and a leap day
        ("00:10", "2024-12-31", "2025-01-01 06:10"),
        ("00:10", "2024-02-28", "2024-02-29 06:10"),
        # Both sides of the hours in question when the clocks change
        ("00:59", "2024-11-02", "2024-11-03 05:59"),
        ("02:00", "2024-11-02", "2024-11-03 08:00"),
        ("01:59", "2025-03-08", "2025-03-09 07:59"),
        ("03:00", "2025-03-08", "2025-03-09 08:00"),
    ],
)
def test_clock_time_of_a_night(clock, night, instant):
    answer = to_instant(dt.time.fromisoformat(clock), dt.date.fromisoformat(night), CHICAGO)
    assert answer == utc(instant)
    assert night_of(answer, CHICAGO) == dt.date.fromisoformat(night)


def test_a_time_that_comes_twice_is_reported_and_settled_by_a_fold():
    ask = (dt.time(1, 30), dt.date(2024, 11, 2), CHICAGO)
    first, second = utc("2024-11-03 06:30"), utc("2024-11-03 07:30")
    assert to_instant(*ask) == Ambiguous(first=first, second=second)
    assert to_instant(*ask, fold=0) == first
    assert to_instant(*ask, fold=1) == second


def test_a_time_that_never_comes_is_reported_and_settled_by_a_fold():
    ask = (dt.time(2, 30), dt.date(2025, 3, 8), CHICAGO)
    earlier, later = utc("2025-03-09 07:30"), utc("2025-03-09 08:30")
    assert to_instant(*ask) == Missing(
        jumps_at=utc("2025-03-09 08:00"), earlier=earlier, later=later
    )
    assert to_instant(*ask, fold=0) == later
    assert to_instant(*ask, fold=1) == earlier


@pytest.mark.parametrize(
    ("clock", "night", "zone", "jumps_at"),
    [
        ("02:15", "2024-10-05", "Australia/Lord_Howe", "2024-10-05 15:30"),
        ("00:30", "2024-09-07", "America/Santiago", "2024-09-08 04:00"),
        ("02:00", "2025-03-08", CHICAGO, "2025-03-09 08:00"),
        ("02:59:59", "2025-03-08", CHICAGO, "2025-03-09 08:00"),
    ],
)
def test_the_moment_of_the_change(clock, night, zone, jumps_at):
    answer = to_instant(dt.time.fromisoformat(clock), dt.date.fromisoformat(night), zone)
    assert isinstance(answer, Missing)
    assert answer.jumps_at == utc(jumps_at)


@pytest.mark.parametrize(
    ("instant", "night"),
    [
        ("2024-04-15 16:59", "2024-04-14"),
        ("2024-04-15 17:00", "2024-04-15"),
        ("2024-04-16 16:59", "2024-04-15"),
    ],
)
def test_a_night_lasts_from_noon_to_noon(instant, night):
    assert night_of(utc(instant), CHICAGO) == dt.date.fromisoformat(night)


@steady
@given(
    instant=st.datetimes(dt.datetime(2000, 1, 1), dt.datetime(2039, 12, 31)),
    zone=st.sampled_from(
        [CHICAGO, "America/Anchorage", "Australia/Lord_Howe", "Asia/Kolkata", "America/Santiago"]
    ),
)
def test_the_clock_shown_leads_back_to_the_instant(instant, zone):
    instant = instant.replace(tzinfo=dt.UTC)
    clock = instant.astimezone(ZoneInfo(zone)).time()
    assert to_instant(clock, night_of(instant, zone), zone, fold=clock.fold) == instant
