"""The moon against published phases.

Phases of the years 2024 to 2026 in UTC to the nearest minute, from the ephemeris DE421
(Folkner and others 2009); samples agree with published lists within a minute
(2025-02-20, 2026-01-18, 2026-07-29).
"""

import datetime as dt
import itertools
from zoneinfo import ZoneInfo

import ephem
import pytest

from surveys.protocol.nights import night_of
from surveys.protocol.sky import (
    moon_lit_share,
    moon_night,
)
from surveys.protocol.values import Place

NEW = """
2024-01-11 11:57, 2024-02-09 22:59, 2024-03-10 09:00, 2024-04-08 18:21, 2024-05-08 03:22,
2024-06-06 12:38, 2024-07-05 22:57, 2024-08-04 11:13, 2024-09-03 01:56, 2024-10-02 18:49,
2024-11-01 12:47, 2024-12-01 06:21, 2024-12-30 22:27,
2025-01-29 12:36, 2025-02-28 00:45, 2025-03-29 10:58, 2025-04-27 19:31, 2025-05-27 03:02,
2025-06-25 10:32, 2025-07-24 19:11, 2025-08-23 06:07, 2025-09-21 19:54, 2025-10-21 12:25,
2025-11-20 06:47, 2025-12-20 01:43,
2026-01-18 19:52, 2026-02-17 12:01, 2026-03-19 01:23, 2026-04-17 11:52, 2026-05-16 20:01,
2026-06-15 02:54, 2026-07-14 09:44, 2026-08-12 17:37, 2026-09-11 03:27, 2026-10-10 15:50,
2026-11-09 07:02, 2026-12-09 00:52,
"""
FIRST_QUARTER = """
2024-01-18 03:53, 2024-02-16 15:01, 2024-03-17 04:11, 2024-04-15 19:13, 2024-05-15 11:48,
2024-06-14 05:18, 2024-07-13 22:49, 2024-08-12 15:19, 2024-09-11 06:06, 2024-10-10 18:55,
2024-11-09 05:55, 2024-12-08 15:27,
2025-01-06 23:56, 2025-02-05 08:02, 2025-03-06 16:32, 2025-04-05 02:15, 2025-05-04 13:52,
2025-06-03 03:41, 2025-07-02 19:30, 2025-08-01 12:41, 2025-08-31 06:25, 2025-09-29 23:54,
2025-10-29 16:21, 2025-11-28 06:59, 2025-12-27 19:10,
2026-01-26 04:47, 2026-02-24 12:28, 2026-03-25 19:18, 2026-04-24 02:32, 2026-05-23 11:11,
2026-06-21 21:55, 2026-07-21 11:06, 2026-08-20 02:46, 2026-09-18 20:44, 2026-10-18 16:13,
2026-11-17 11:48, 2026-12-17 05:43,
"""
FULL = """
2024-01-25 17:54, 2024-02-24 12:30, 2024-03-25 07:00, 2024-04-23 23:49, 2024-05-23 13:53,
2024-06-22 01:08, 2024-07-21 10:17, 2024-08-19 18:26, 2024-09-18 02:34, 2024-10-17 11:26,
2024-11-15 21:29, 2024-12-15 09:02,
2025-01-13 22:27, 2025-02-12 13:53, 2025-03-14 06:55, 2025-04-13 00:22, 2025-05-12 16:56,
2025-06-11 07:44, 2025-07-10 20:37, 2025-08-09 07:55, 2025-09-07 18:09, 2025-10-07 03:48,
2025-11-05 13:19, 2025-12-04 23:14,
2026-01-03 10:03, 2026-02-01 22:09, 2026-03-03 11:38, 2026-04-02 02:12, 2026-05-01 17:23,
2026-05-31 08:45, 2026-06-29 23:57, 2026-07-29 14:36, 2026-08-28 04:19, 2026-09-26 16:49,
2026-10-26 04:12, 2026-11-24 14:54, 2026-12-24 01:28,
"""
LAST_QUARTER = """
2024-01-04 03:30, 2024-02-02 23:18, 2024-03-03 15:23, 2024-04-02 03:15, 2024-05-01 11:27,
2024-05-30 17:13, 2024-06-28 21:53, 2024-07-28 02:52, 2024-08-26 09:26, 2024-09-24 18:50,
2024-10-24 08:03, 2024-11-23 01:28, 2024-12-22 22:18,
2025-01-21 20:31, 2025-02-20 17:33, 2025-03-22 11:29, 2025-04-21 01:36, 2025-05-20 11:59,
2025-06-18 19:19, 2025-07-18 00:38, 2025-08-16 05:12, 2025-09-14 10:33, 2025-10-13 18:13,
2025-11-12 05:28, 2025-12-11 20:52,
2026-01-10 15:48, 2026-02-09 12:43, 2026-03-11 09:39, 2026-04-10 04:52, 2026-05-09 21:10,
2026-06-08 10:01, 2026-07-07 19:29, 2026-08-06 02:21, 2026-09-04 07:51, 2026-10-03 13:25,
2026-11-01 20:28, 2026-12-01 06:09, 2026-12-30 18:59,
"""

TWO_MINUTES = dt.timedelta(minutes=2)
SIX_HOURS = dt.timedelta(hours=6)
PLACE = Place(latitude=43.0731, longitude=-89.4012)
ZONE = "America/Chicago"


def instants(phases):
    texts = phases.replace("\n", " ").replace(",", " ").split()
    return [
        dt.datetime.fromisoformat(f"{date} {clock}").replace(tzinfo=dt.UTC)
        for date, clock in zip(texts[::2], texts[1::2], strict=True)
    ]


def test_the_lists_are_complete():
    every = sorted(instants(NEW + FIRST_QUARTER + FULL + LAST_QUARTER))
    gaps = [later - earlier for earlier, later in itertools.pairwise(every)]
    assert len(every) == 149
    assert all(dt.timedelta(days=6) < gap < dt.timedelta(days=9) for gap in gaps)


@pytest.mark.parametrize(
    ("phases", "search"),
    [
        (NEW, ephem.next_new_moon),
        (FIRST_QUARTER, ephem.next_first_quarter_moon),
        (FULL, ephem.next_full_moon),
        (LAST_QUARTER, ephem.next_last_quarter_moon),
    ],
    ids=["new", "first quarter", "full", "last quarter"],
)
def test_the_library_finds_every_phase(phases, search):
    for instant in instants(phases):
        day_before = (instant - dt.timedelta(days=1)).replace(tzinfo=None)
        found = search(ephem.Date(day_before)).datetime().replace(tzinfo=dt.UTC)
        assert abs(found - instant) <= TWO_MINUTES, instant


@pytest.mark.parametrize(
    ("phases", "share", "tolerance"),
    [(NEW, 0, 0.004), (FIRST_QUARTER, 0.5, 0.003), (FULL, 1, 0.004), (LAST_QUARTER, 0.5, 0.003)],
    ids=["new", "first quarter", "full", "last quarter"],
)
def test_lit_share_at_every_phase(phases, share, tolerance):
    """At quarter the sun is not infinitely far, so the share is half to within 0.002; at new
    and full moon the moon stands up to 5° off the line, which leaves up to 0.002."""
    for instant in instants(phases):
        assert moon_lit_share(instant) == pytest.approx(share, abs=tolerance), instant


def test_new_and_full_moon_are_the_turning_points():
    for instant in instants(NEW):
        assert moon_lit_share(instant - SIX_HOURS) > moon_lit_share(instant), instant
        assert moon_lit_share(instant + SIX_HOURS) > moon_lit_share(instant), instant
    for instant in instants(FULL):
        assert moon_lit_share(instant - SIX_HOURS) < moon_lit_share(instant), instant
        assert moon_lit_share(instant + SIX_HOURS) < moon_lit_share(instant), instant


def test_waxing_at_first_quarter_and_waning_at_last():
    for phases, waxing in ((FIRST_QUARTER, True), (LAST_QUARTER, False)):
        for instant in instants(phases):
            night = night_of(instant, ZONE)
            assert moon_night(PLACE, night, ZONE).waxing is waxing, night


@pytest.mark.parametrize(
    ("instant", "share"),
    [
        # DE421
        ("2024-04-16 03:00:00", 0.533),
        ("2025-01-16 00:00:00", 0.953),
        ("2025-06-22 02:00:00", 0.156),
        # Meeus 1998, Astronomical Algorithms, example 48.a: 1992 April 12, 0h TD (59 s
        # ahead of UTC), printed 0.6786 (from memory)
        ("1992-04-11 23:59:01", 0.6786),
    ],
)
def test_lit_share_between_the_phases(instant, share):
    found = moon_lit_share(dt.datetime.fromisoformat(instant).replace(tzinfo=dt.UTC))
    assert found == pytest.approx(share, abs=0.0006)


def test_meeus_last_quarter():
    """Meeus 1998, example 49.b: last quarter of 2044 January 21 at 23:48:17 TD (from memory).
    TD is ahead of the library's UTC by about 70 to 95 s in that year."""
    found = ephem.next_last_quarter_moon(ephem.Date("2044/1/15")).datetime()
    assert abs(found - dt.datetime(2044, 1, 21, 23, 48, 17)) <= TWO_MINUTES


def test_a_full_moon_just_after_midnight_utc_belongs_to_the_evening_before_in_america():
    instant = dt.datetime(2025, 4, 13, 0, 22, tzinfo=dt.UTC)
    assert instant in instants(FULL)
    for zone in ("America/New_York", ZONE, "America/Denver", "America/Los_Angeles"):
        assert night_of(instant, zone) == dt.date(2025, 4, 12)
        assert instant.astimezone(ZoneInfo(zone)).date() == dt.date(2025, 4, 12)
