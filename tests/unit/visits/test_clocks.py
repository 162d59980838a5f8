"""Clock cells. United States clocks change at 02:00 on the second Sunday of March and
the first Sunday of November (Energy Policy Act of 2005, section 110; IANA tz database)."""

import datetime as dt

import pytest

from surveys.visits.sheet.clocks import (
    FoldWantedError,
    read_clock,
)
from surveys.visits.sheet.texts import CellError

NIGHT = dt.date(2024, 4, 15)
BACK = dt.date(2024, 11, 2)
FORWARD = dt.date(2025, 3, 8)


def read(text, fold="", night=NIGHT, time_zone="America/Chicago"):
    return read_clock(text, fold, night=night, time_zone=time_zone)


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("21:14", "2024-04-16T02:14"),
        ("21.14", "2024-04-16T02:14"),
        ("2114", "2024-04-16T02:14"),
        ("9:14 pm", "2024-04-16T02:14"),
        ("9:14PM", "2024-04-16T02:14"),
        ("9 p.m.", "2024-04-16T02:00"),
        # after midnight the night keeps its date
        ("00:40", "2024-04-16T05:40"),
        ("12:40 am", "2024-04-16T05:40"),
        ("24:00", "2024-04-16T05:00"),
        ("1:05 am", "2024-04-16T06:05"),
        # instants from a phone
        ("2024-04-16T02:14:00Z", "2024-04-16T02:14"),
        ("2024-04-15T21:14:00-05:00", "2024-04-16T02:14"),
        ("2024-04-15 21:14:00-05:00", "2024-04-16T02:14"),
    ],
)
def test_times(text, utc):
    assert read(text).instant == dt.datetime.fromisoformat(utc).replace(tzinfo=dt.UTC)
    assert not read(text).by_day


@pytest.mark.parametrize("text", ["9:14", "12:30", "06:00", "15:59"])
def test_daytime_is_marked(text):
    assert read(text).by_day


@pytest.mark.parametrize("text", ["9:14 am", "16:00", "5:59", "21:14"])
def test_night_time_and_times_with_am_or_pm_are_not_marked(text):
    assert not read(text).by_day


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("late", "“late” is not a clock time"),
        ("25:10", "hour above 23"),
        ("21:74", "more than 59 minutes"),
        ("14:00 pm", "the hour must be 1 to 12"),
        ("2024-04-16T02:14:00", "does not say its time zone"),
        ("2024-04-16Tnoon", "is not a date with a time"),
        ("2024-13-16T02:14:00Z", "is not a date with a time"),
        ("0001-01-01T00:00:00+23:59", "not between 1900 and 2199"),
        ("9999-12-31T23:59:59-23:59", "not between 1900 and 2199"),
    ],
)
def test_unreadable_times_are_explained(text, message):
    with pytest.raises(CellError, match=message) as caught:
        read(text)
    assert "21:14" in caught.value.remedy


def test_repeated_time_needs_a_fold():
    with pytest.raises(FoldWantedError, match="so 01:30 came twice") as caught:
        read("1:30 am", night=BACK)
    assert caught.value.code == "clock-repeated"


@pytest.mark.parametrize(
    ("fold", "utc"), [("first", "2024-11-03T06:30"), ("Second ", "2024-11-03T07:30")]
)
def test_fold_selects_the_instant(fold, utc):
    instant = read("01:30", fold, night=BACK).instant
    assert instant == dt.datetime.fromisoformat(utc).replace(tzinfo=dt.UTC)


def test_fold_of_an_unambiguous_time_is_ignored():
    assert read("21:14", "second") == read("21:14")


def test_skipped_time_is_refused():
    with pytest.raises(CellError, match="no clock showed 02:30") as caught:
        read("2:30 am", night=FORWARD)
    assert caught.value.code == "clock-skipped"
    # The watch not yet put forward: 02:30 CST is 03:30 CDT. Put forward early: 01:30 CST.
    assert "Write 03:30" in caught.value.remedy
    assert "or 01:30" in caught.value.remedy


def test_a_zone_without_daylight_time_has_every_hour_once():
    assert read("01:30", night=BACK, time_zone="America/Phoenix").instant.hour == 8
