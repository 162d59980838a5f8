import datetime as dt
import itertools
from zoneinfo import ZoneInfo

import pytest

from surveys.protocol.sky import (
    moon_altitude,
    moon_lit_share,
    moon_night,
    stop_sky,
    sunset_of,
)
from surveys.protocol.values import (
    Place,
    StopSky,
)

MADISON = Place(latitude=43.0731, longitude=-89.4012)
FAIRBANKS = Place(latitude=64.8378, longitude=-147.7164)
FAR_NORTH = Place(latitude=71.2906, longitude=-156.7886)
NOTHING = StopSky(sunset=None, civil_dusk=None, sunrise=None)


def test_sunset_dusk_and_sunrise_come_in_order():
    sky = stop_sky(MADISON, dt.date(2024, 4, 15), "America/Chicago")
    assert sky.sunset < sky.civil_dusk < sky.sunrise
    assert sky.sunset.tzinfo is dt.UTC


def test_a_sunset_after_midnight_belongs_to_the_evening_before():
    sky = stop_sky(FAIRBANKS, dt.date(2025, 6, 21), "America/Anchorage")
    local = sky.sunset.astimezone(ZoneInfo("America/Anchorage"))
    assert (local.date(), local.hour) == (dt.date(2025, 6, 22), 0)
    assert sky.civil_dusk is None


@pytest.mark.parametrize("night", [dt.date(2025, 6, 21), dt.date(2025, 12, 21)])
def test_no_sunset_in_polar_day_and_polar_night(night):
    assert stop_sky(FAR_NORTH, night, "America/Anchorage") == NOTHING


@pytest.mark.parametrize("place", [MADISON, FAR_NORTH])
def test_the_sunset_alone_is_that_of_the_whole_sky(place):
    for night in (dt.date(2025, month, 3) for month in range(1, 13)):
        sky = stop_sky(place, night, "America/Anchorage")
        assert sunset_of(place, night, "America/Anchorage") == sky.sunset


def test_one_sunset_a_night_all_year():
    """Each sunset follows the last one by about a day: none is left out or comes twice."""
    nights = [dt.date(2024, 1, 1) + dt.timedelta(days=n) for n in range(366)]
    sunsets = [stop_sky(MADISON, night, "America/Chicago").sunset for night in nights]
    gaps = [later - earlier for earlier, later in itertools.pairwise(sunsets)]
    assert max(abs(gap - dt.timedelta(days=1)) for gap in gaps) < dt.timedelta(minutes=2)


def test_moon_rise_and_set_lie_between_noon_and_noon():
    night = moon_night(MADISON, dt.date(2024, 11, 2), "America/Chicago")
    assert night.sets == pytest.approx(
        dt.datetime(2024, 11, 2, 23, 5, tzinfo=dt.UTC), abs=dt.timedelta(minutes=3)
    )
    assert night.rises.date() == dt.date(2024, 11, 3)


def test_a_moon_that_rose_before_noon_does_not_rise_in_the_night():
    assert moon_night(MADISON, dt.date(2024, 4, 15), "America/Chicago").rises is None


def test_waxing_and_waning():
    before = moon_night(MADISON, dt.date(2024, 4, 20), "America/Chicago")
    after = moon_night(MADISON, dt.date(2024, 4, 27), "America/Chicago")
    assert before.waxing
    assert not after.waxing
    assert 0.5 < before.lit_share < 1


def test_the_full_moon_stands_high_at_midnight_in_winter_and_is_set_at_noon():
    midnight = dt.datetime(2024, 12, 15, 6, tzinfo=dt.UTC)
    assert moon_lit_share(midnight) > 0.99
    assert moon_altitude(MADISON, midnight) > 60
    assert moon_altitude(MADISON, midnight + dt.timedelta(hours=12)) < 0
