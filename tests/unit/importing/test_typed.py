"""Cells put the way the sheet is typed."""

import datetime as dt

import pytest

from surveys.importing.typed import (
    clock_cells,
    rain_text,
    read_date,
    temperature_text,
    whole_number_text,
    wind_text,
)
from surveys.visits.sheet.texts import CellError

NIGHT = dt.date(2024, 4, 15)


@pytest.mark.parametrize(
    ("text", "form", "date"),
    [
        ("2024-04-15", "ymd", NIGHT),
        ("2024/4/15", "ymd", NIGHT),
        ("2024-04-15 00:00", "ymd", NIGHT),
        ("2024-04-15 21:14", "ymd", NIGHT),
        ("15 April 2024", "ymd", NIGHT),
        ("15 Apr 2024", "dmy", NIGHT),
        ("15/4/2024", "dmy", NIGHT),
        ("15.04.2024", "dmy", NIGHT),
        ("4/15/2024", "mdy", NIGHT),
        ("4/15/24", "mdy", NIGHT),
        ("4/3/2024", "dmy", dt.date(2024, 3, 4)),
        ("4/3/2024", "mdy", dt.date(2024, 4, 3)),
        ("4/3/2024 9:14 PM", "mdy", dt.date(2024, 4, 3)),
        ("2024-04-15", "mdy", NIGHT),
        ("15-Apr-24", "mdy", NIGHT),
        ("15-APR-2024", "ymd", NIGHT),
        ("Apr-15-2024", "dmy", NIGHT),
        ("April 15, 2024", "ymd", NIGHT),
        ("Mon, April 15, 2024", "ymd", NIGHT),
        ("Monday 15 Apr. 24", "ymd", NIGHT),
        ("15th of April 2024", "ymd", NIGHT),
        ("20240415", "ymd", NIGHT),
        ("Mon 4/15/24", "mdy", NIGHT),
        ("16-Feb-98", "ymd", dt.date(1998, 2, 16)),
        ("1/2/98", "mdy", dt.date(1998, 1, 2)),
        ("1/2/26", "mdy", dt.date(2026, 1, 2)),
        ("1/2/27", "mdy", dt.date(1927, 1, 2)),
    ],
)
def test_dates(text, form, date):
    assert read_date(text, form, latest_year=2026) == date


@pytest.mark.parametrize(
    ("text", "form", "words"),
    [
        ("4/15/2024", "dmy", "read day first"),
        ("15/4/2024", "mdy", "read month first"),
        ("4/15/2024", "ymd", "begin with the year"),
        ("31/4/2024", "dmy", "not a date"),
        ("last spring", "ymd", "not a date"),
        ("45397", "ymd", "not a date"),
        ("2024-02-30", "ymd", "There is no such day"),
    ],
)
def test_dates_that_cannot_be_read(text, form, words):
    with pytest.raises(CellError, match=words):
        read_date(text, form, latest_year=2026)


@pytest.mark.parametrize(
    ("text", "form", "cells"),
    [
        ("21:14", "24h", ("21:14", "")),
        ("9:14 PM", "24h", ("9:14 PM", "")),
        ("9:14", "24h", ("9:14", "")),
        ("9:14", "12h", ("21:14", "")),
        ("11:59", "12h", ("23:59", "")),
        ("12:05", "12h", ("00:05", "")),
        ("1:05", "12h", ("1:05", "")),
        ("6:00", "12h", ("18:00", "")),
        ("9:14 am", "12h", ("9:14 am", "")),
        ("21:14", "12h", ("21:14", "")),
        ("914", "12h", ("21:14", "")),
        ("later", "12h", ("later", "")),
        ("2024-04-15 21:14", "24h", ("21:14", "")),
        ("2024-04-16 00:10", "24h", ("00:10", "")),
        ("0.884722222", "24h", ("21:14", "")),
        ("01:30 second", "24h", ("01:30", "second")),
        ("01:30 First", "24h", ("01:30", "first")),
    ],
)
def test_clocks(text, form, cells):
    assert clock_cells(text, form, NIGHT) == cells


def test_a_clock_with_the_date_of_another_night():
    with pytest.raises(CellError, match="15 April 2024"):
        clock_cells("2024-04-18 21:14", "24h", NIGHT)


@pytest.mark.parametrize(
    ("text", "form", "typed"),
    [
        ("48", "F", "48 °F"),
        ("warm", "F", "warm"),
        ("8.5", "C", "8.5 °C"),
        ("48 °F", "C", "48 °F"),
        ("8,5C", "F", "8,5C"),
        ("-", "F", "-"),
        ("", "F", ""),
    ],
)
def test_temperatures(text, form, typed):
    assert temperature_text(text, form) == typed


@pytest.mark.parametrize(
    ("text", "form", "force"),
    [
        ("2", "beaufort", "2"),
        ("-", "mph", "-"),
        # WMO table: 4-7 mph is force 2, 8-12 mph is force 3.
        ("7", "mph", "2"),
        ("8", "mph", "3"),
        ("4-7", "mph", "2"),
        ("19", "kmh", "3"),
        ("3.4", "ms", "3"),
        ("7", "knots", "3"),
        ("0", "mph", "0"),
    ],
)
def test_winds(text, form, force):
    assert wind_text(text, form) == force


@pytest.mark.parametrize("text", ["-5", "1-2-3", "breezy"])
def test_winds_that_cannot_be_read(text):
    with pytest.raises(CellError):
        wind_text(text, "mph")


@pytest.mark.parametrize(
    ("text", "form", "typed"),
    [
        ("T", "mm", "T mm"),
        ("t", "in", "t in"),
        ("lots", "in", "lots"),
        ("-", "mm", "-"),
        ("0.5", "in", "0.5 in"),
        ("12 mm", "in", "12 mm"),
    ],
)
def test_rain(text, form, typed):
    assert rain_text(text, form) == typed


@pytest.mark.parametrize(
    ("text", "typed"), [("3.0", "3"), ("3", "3"), ("2.5", "2.5"), ("?", "?"), ("", "")]
)
def test_whole_numbers(text, typed):
    assert whole_number_text(text) == typed
