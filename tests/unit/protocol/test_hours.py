"""The hours of a night along a route, whose stops see the sun set one after the other.

That rule, packet, phone and sheet tell the same is checked in integration/visits.
"""

import datetime as dt

import pytest

from surveys.protocol.hours import NightHours, earliest_start, latest_end, route_hours
from surveys.protocol.values import MonthDay, Protocol, StopSunset

NIGHT, ZONE = dt.date(2024, 4, 15), "America/Chicago"


def utc(clock, *, day=16):
    return dt.datetime.combine(dt.date(2024, 4, day), dt.time.fromisoformat(clock), dt.UTC)


def protocol(**limits):
    return Protocol(
        name="Roadside",
        version=1,
        season_year_begins=MonthDay(month=1, day=1),
        windows=(),
        listening_time=dt.timedelta(minutes=5),
        **limits,
    )


def sky(sunset):
    return StopSunset(sunset=sunset and utc(sunset))


HALF_AN_HOUR, FOUR_HOURS = dt.timedelta(minutes=30), dt.timedelta(hours=4)
EAST, WEST = sky("00:40:30"), sky("00:43:10")
BOTH = protocol(
    earliest_start_after_sunset=HALF_AN_HOUR,
    latest_end_after_sunset=FOUR_HOURS,
    latest_end_clock=dt.time(0, 30),
)


def test_the_latest_start_and_the_earliest_end_of_the_stops_hold():
    by_sunset = protocol(
        earliest_start_after_sunset=HALF_AN_HOUR, latest_end_after_sunset=FOUR_HOURS
    )
    hours = NightHours(earliest_start=utc("01:14"), latest_end=utc("04:40"))
    assert route_hours(by_sunset, [EAST, WEST], NIGHT, ZONE) == hours
    assert route_hours(by_sunset, [WEST, None, sky(None), EAST], NIGHT, ZONE) == hours


def test_the_earlier_of_clock_and_sunset_ends_the_night():
    # 00:30 by the clock in Chicago is 05:30 UTC; four hours after sunset come first.
    assert latest_end(BOTH, EAST, NIGHT, ZONE) == utc("04:40")
    early = protocol(latest_end_after_sunset=FOUR_HOURS, latest_end_clock=dt.time(23, 0))
    assert latest_end(early, EAST, NIGHT, ZONE) == utc("04:00")


@pytest.mark.parametrize("skies", [[], [None], [sky(None)]])
def test_without_a_sunset_the_clock_alone_ends_the_night(skies):
    hours = NightHours(earliest_start=None, latest_end=utc("05:30"))
    assert route_hours(BOTH, skies, NIGHT, ZONE) == hours


def test_no_limits_no_hours():
    hours = NightHours(earliest_start=None, latest_end=None)
    assert route_hours(protocol(), [EAST], NIGHT, ZONE) == hours


@pytest.mark.parametrize(
    ("sunset", "earliest"),
    [("00:40:00", "01:10"), ("00:40:00.000001", "01:11"), ("00:40:59", "01:11")],
)
def test_the_start_is_rounded_up_to_the_minute(sunset, earliest):
    assert earliest_start(BOTH, sky(sunset)) == utc(earliest)


# The clocks of Chicago: 2024-03-10 02:00 becomes 03:00, 2024-11-03 02:00 becomes 01:00
# (15 U.S.C. 260a).
@pytest.mark.parametrize(
    ("night", "clock", "end"),
    [
        (dt.date(2024, 3, 9), dt.time(2, 30), dt.datetime(2024, 3, 10, 8, 0, tzinfo=dt.UTC)),
        (dt.date(2024, 11, 2), dt.time(1, 30), dt.datetime(2024, 11, 3, 7, 30, tzinfo=dt.UTC)),
    ],
    ids=["never comes", "comes twice"],
)
def test_where_the_clocks_change_the_observer_gets_the_benefit(night, clock, end):
    assert latest_end(protocol(latest_end_clock=clock), None, night, ZONE) == end
