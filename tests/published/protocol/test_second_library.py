"""Sun and moon against a second library: Skyfield with the JPL ephemeris DE421.

The two libraries share no code: ours is a C library with VSOP87 and ELP series, the
other reads the numerically integrated ephemeris.
"""

import datetime as dt
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import skyfield_data
from skyfield import almanac
from skyfield.api import Loader, wgs84

from surveys.protocol.sky import (
    moon_altitude,
    moon_lit_share,
    moon_night,
    stop_sky,
)
from surveys.protocol.values import Place

TWO_MINUTES = dt.timedelta(minutes=2)
PLACES = {
    "inland north": (44.9, -93.1, "America/Chicago"),
    "coast north-east": (43.6, -70.2, "America/New_York"),
    "coastal plain": (31.2, -82.4, "America/New_York"),
    "south": (26.1, -80.3, "America/New_York"),
    "west coast": (40.8, -124.1, "America/Los_Angeles"),
    "mountains": (35.1, -106.6, "America/Denver"),
    "far north": (64.8, -147.7, "America/Anchorage"),
    "beyond the polar circle": (68.5, -149.5, "America/Anchorage"),
    "equator": (0.2, 32.5, "Africa/Kampala"),
    "half-hour zone": (12.9, 77.6, "Asia/Kolkata"),
    "southern hemisphere": (-43.5, 172.6, "Pacific/Auckland"),
    "date line": (-18.1, 178.4, "Pacific/Fiji"),
}
NIGHTS = [dt.date(2024, 1, 3) + dt.timedelta(days=41 * n) for n in range(18)]
EVERY_PLACE = pytest.mark.parametrize("where", PLACES.values(), ids=PLACES.keys())


@cache
def reference():
    data = Loader(str(Path(skyfield_data.__file__).parent / "data"), verbose=False)
    return data("de421.bsp"), data.timescale(builtin=True)


@pytest.fixture(scope="module", autouse=True)
def _close_the_ephemeris():
    yield
    reference()[0].close()
    reference.cache_clear()


def first_event(search, where, body, start, **options):
    """The first event in the day after `start`, or None. The library also reports the
    highest or lowest moment of a day without an event, marked False."""
    planets, scale = reference()
    observer = planets["earth"] + wgs84.latlon(where[0], where[1])
    begin, end = scale.from_datetime(start), scale.from_datetime(start + dt.timedelta(days=1))
    times, real = search(observer, planets[body], begin, end, **options)
    events = [time.utc_datetime() for time, happens in zip(times, real, strict=True) if happens]
    return events[0] if events else None


def solar_noon(where, night):
    planets, scale = reference()
    observer = planets["earth"] + wgs84.latlon(where[0], where[1])
    midnight = dt.datetime.combine(night, dt.time(), tzinfo=ZoneInfo(where[2]))
    begin = scale.from_datetime(midnight)
    end = scale.from_datetime(midnight + dt.timedelta(days=1, minutes=1))
    return almanac.find_transits(observer, planets["sun"], begin, end)[0].utc_datetime()


def agree(found, expected):
    if found is None or expected is None:
        return found is expected
    return abs(found - expected) <= TWO_MINUTES


@EVERY_PLACE
def test_sunset_dusk_and_sunrise(where):
    place = Place(latitude=where[0], longitude=where[1])
    for night in NIGHTS:
        noon = solar_noon(where, night)
        sky = stop_sky(place, night, where[2])
        sunset = first_event(almanac.find_settings, where, "sun", noon)
        assert agree(sky.sunset, sunset), night
        if sunset is None:
            continue
        dusk = first_event(almanac.find_settings, where, "sun", noon, horizon_degrees=-6)
        assert agree(sky.civil_dusk, dusk), night
        sunrise = first_event(almanac.find_risings, where, "sun", sunset)
        assert agree(sky.sunrise, sunrise), night


@EVERY_PLACE
def test_moonrise_and_moonset(where):
    place = Place(latitude=where[0], longitude=where[1])
    for night in NIGHTS:
        noon = dt.datetime.combine(night, dt.time(12), tzinfo=ZoneInfo(where[2]))
        moon = moon_night(place, night, where[2])
        assert agree(moon.rises, first_event(almanac.find_risings, where, "moon", noon)), night
        assert agree(moon.sets, first_event(almanac.find_settings, where, "moon", noon)), night


@EVERY_PLACE
def test_altitude_and_lit_share_of_the_moon(where):
    planets, scale = reference()
    for night in NIGHTS:
        instant = dt.datetime.combine(night, dt.time(22), tzinfo=ZoneInfo(where[2]))
        time = scale.from_datetime(instant)
        observer = planets["earth"] + wgs84.latlon(where[0], where[1])
        altitude = observer.at(time).observe(planets["moon"]).apparent().altaz()[0].degrees
        place = Place(latitude=where[0], longitude=where[1])
        assert moon_altitude(place, instant) == pytest.approx(altitude, abs=0.05)
        share = almanac.fraction_illuminated(planets, "moon", time)
        assert moon_lit_share(instant) == pytest.approx(share, abs=0.002)
