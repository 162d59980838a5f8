"""Sunset, dusk and sunrise against reference values and printed almanac examples."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from surveys.protocol.sky import stop_sky
from surveys.protocol.values import Place

MINUTE = dt.timedelta(minutes=1)
MADISON = (43.0731, -89.4012, "America/Chicago")
AMHERST = (42.3732, -72.5199, "America/New_York")
GAINESVILLE = (29.6516, -82.3248, "America/New_York")
SAVANNAH = (32.0809, -81.0912, "America/New_York")
PHOENIX = (33.4484, -112.0740, "America/Phoenix")
ARCATA = (40.8021, -124.1637, "America/Los_Angeles")
FAIRBANKS = (64.8378, -147.7164, "America/Anchorage")
UTQIAGVIK = (71.2906, -156.7886, "America/Anchorage")


def sky_of(where, night):
    latitude, longitude, zone = where
    return stop_sky(
        Place(latitude=latitude, longitude=longitude), dt.date.fromisoformat(night), zone
    )


def local(text, where):
    return dt.datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(where[2]))


# JPL ephemeris DE421 (Folkner and others 2009, IPN Progress Report 42-178), upper limb,
# center 50′ below the horizon, sea level; agreed to within a minute.
@pytest.mark.parametrize(
    ("where", "night", "event", "expected"),
    [
        (MADISON, "2024-04-15", "sunset", "2024-04-15 19:40:57"),
        (MADISON, "2024-04-15", "civil_dusk", "2024-04-15 20:10:38"),
        (MADISON, "2024-04-15", "sunrise", "2024-04-16 06:13:07"),
        # The clocks go back, go forward
        (MADISON, "2024-11-02", "sunset", "2024-11-02 17:47:26"),
        (MADISON, "2024-11-02", "sunrise", "2024-11-03 06:35:35"),
        (MADISON, "2025-03-08", "sunset", "2025-03-08 17:55:54"),
        (MADISON, "2025-03-08", "sunrise", "2025-03-09 07:19:31"),
        (AMHERST, "2025-06-21", "sunset", "2025-06-21 20:30:35"),
        (GAINESVILLE, "2025-01-15", "sunset", "2025-01-15 17:52:48"),
        # Over New Year
        (SAVANNAH, "2024-12-31", "sunset", "2024-12-31 17:30:27"),
        # No daylight-saving time
        (PHOENIX, "2025-07-15", "sunset", "2025-07-15 19:38:37"),
        (ARCATA, "2025-01-20", "sunset", "2025-01-20 17:20:00"),
        (FAIRBANKS, "2025-05-15", "sunset", "2025-05-15 23:10:58"),
        # The sunset of the night falls on the next date
        (FAIRBANKS, "2025-06-21", "sunset", "2025-06-22 00:47:43"),
        (FAIRBANKS, "2025-06-21", "sunrise", "2025-06-22 02:58:09"),
    ],
)
def test_reference_values(where, night, event, expected):
    found = getattr(sky_of(where, night), event)
    assert abs(found - local(expected, where)) <= MINUTE


def test_civil_twilight_lasts_all_night():
    assert sky_of(FAIRBANKS, "2025-05-15").civil_dusk is None


def test_the_sun_never_sets():
    assert sky_of(UTQIAGVIK, "2025-06-21").sunset is None


def test_the_example_of_the_almanac_for_computers():
    """Almanac for Computers 1990 (U.S. Naval Observatory), worked example: sunrise on
    25 June 1990 at 40.9 N 74.3 W, printed 05:26 daylight time (printed result from memory)."""
    where = (40.9, -74.3, "America/New_York")
    assert abs(sky_of(where, "1990-06-24").sunrise - local("1990-06-25 05:26", where)) <= MINUTE


def test_the_example_of_reda_and_andreas():
    """Reda & Andreas 2004, Solar Energy 76:577-589, 39.742476 N 105.1786 W, 17 October 2003
    (printed values from memory): sunrise 06:12:43 and sunset 17:20:19 at UTC−7. The printed pair is
    of one UT day, so that sunset is the one of the evening of the 16th; the evening of the 17th
    follows 87 seconds earlier by the clock."""
    where = (39.742476, -105.1786, "Etc/GMT+7")
    seconds = dt.timedelta(seconds=15)
    sky = sky_of(where, "2003-10-16")
    assert abs(sky.sunrise - local("2003-10-17 06:12:43", where)) <= seconds
    assert abs(sky.sunset - local("2003-10-16 17:20:19", where)) <= seconds
    following = sky_of(where, "2003-10-17").sunset
    assert abs(following - local("2003-10-17 17:18:51", where)) <= seconds
