"""Sun and moon over a place on a night.

Sunset and sunrise: upper limb at the horizon with 34′ of refraction at sea level,
air pressure left out of the library's own refraction (the almanacs' convention).
Civil dusk: center of the sun 6° below the horizon.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from zoneinfo import ZoneInfo

import ephem

from surveys.protocol.values import (
    Place,
    StopSky,
)

_REFRACTION = "-0:34"
_CIVIL = "-6"
_ONE_DAY = dt.timedelta(days=1)
# The sun goes on by a quarter of a degree in a minute; a longitude is rounded by no more.
_AHEAD = dt.timedelta(seconds=90)


@dataclass(frozen=True, kw_only=True)
class MoonNight:
    """The moon from noon to noon: rise and set (None when they do not happen), the
    lit share of the disc at the midnight between, and whether it is waxing."""

    rises: dt.datetime | None
    sets: dt.datetime | None
    lit_share: float
    waxing: bool


@lru_cache(maxsize=4096)
def stop_sky(place: Place, night: dt.date, time_zone: str) -> StopSky:
    """Sunset, civil dusk and sunrise of the night that follows the solar noon of `night`.

    The sunset may fall after local midnight. Each is None when it does not happen
    before the next solar noon.
    """
    noon = _before_noon(place, night, time_zone)
    sunset = _sunset_after(place, noon)
    if sunset is None:
        return StopSky(sunset=None, civil_dusk=None, sunrise=None)
    return StopSky(
        sunset=sunset,
        civil_dusk=_event(
            place, noon, _CIVIL, lambda o: o.next_setting(ephem.Sun(), use_center=True)
        ),
        sunrise=_event(place, sunset, _REFRACTION, lambda o: o.next_rising(ephem.Sun())),
    )


@lru_cache(maxsize=4096)
def sunset_of(place: Place, night: dt.date, time_zone: str) -> dt.datetime | None:
    """The sunset of `stop_sky` alone, for those who need many and nothing else."""
    return _sunset_after(place, _before_noon(place, night, time_zone))


@lru_cache(maxsize=4096)
def moon_night(place: Place, night: dt.date, time_zone: str) -> MoonNight:
    """The moon over a place on a night."""
    zone = ZoneInfo(time_zone)
    noon = dt.datetime.combine(night, dt.time(12), tzinfo=zone).astimezone(dt.UTC)
    midnight = dt.datetime.combine(night + _ONE_DAY, dt.time(), tzinfo=zone)
    share = moon_lit_share(midnight)
    return MoonNight(
        rises=_event(place, noon, _REFRACTION, lambda o: o.next_rising(ephem.Moon())),
        sets=_event(place, noon, _REFRACTION, lambda o: o.next_setting(ephem.Moon())),
        lit_share=share,
        waxing=moon_lit_share(midnight + dt.timedelta(hours=1)) > share,
    )


def moon_lit_share(instant: dt.datetime) -> float:
    """Lit share of the moon's disc seen from the center of the Earth, 0 to 1."""
    return float(ephem.Moon(_date(instant)).phase) / 100


def moon_altitude(place: Place, instant: dt.datetime) -> float:
    """Altitude of the moon's center in degrees, without refraction."""
    moon = ephem.Moon()
    moon.compute(_observer(place, instant))
    return math.degrees(float(moon.alt))


def _before_noon(place: Place, night: dt.date, time_zone: str) -> dt.datetime:
    """Half a minute to two and a half minutes before the solar noon of `night`, so that the next
    sunset is the one after it."""
    return _noon(round(place.longitude * 2), night, time_zone) - _AHEAD


@lru_cache(maxsize=4096)
def _noon(half_degrees: int, night: dt.date, time_zone: str) -> dt.datetime:
    """The solar noon at a longitude. The stops of a route share it: it takes longer to find than
    the sunset."""
    midnight = dt.datetime.combine(night, dt.time(), tzinfo=ZoneInfo(time_zone))
    there = Place(latitude=0.0, longitude=half_degrees / 2)
    return _utc(_observer(there, midnight).next_transit(ephem.Sun()))


def _sunset_after(place: Place, noon: dt.datetime) -> dt.datetime | None:
    return _event(place, noon, _REFRACTION, lambda o: o.next_setting(ephem.Sun()))


def _event(
    place: Place,
    start: dt.datetime,
    horizon: str,
    find: Callable[[ephem.Observer], ephem.Date],
) -> dt.datetime | None:
    """An event within a day of `start`, or None when there is none."""
    observer = _observer(place, start)
    observer.horizon = horizon
    try:
        event = _utc(find(observer))
    except ephem.CircumpolarError:
        return None
    return event if event < start + _ONE_DAY else None


def _observer(place: Place, instant: dt.datetime) -> ephem.Observer:
    observer = ephem.Observer()
    observer.lat = math.radians(place.latitude)
    observer.lon = math.radians(place.longitude)
    observer.pressure = 0
    observer.date = _date(instant)
    return observer


def _date(instant: dt.datetime) -> ephem.Date:
    return ephem.Date(instant.astimezone(dt.UTC).replace(tzinfo=None))


def _utc(date: ephem.Date) -> dt.datetime:
    """To the nearest second, which is finer than the horizon is known."""
    exact: dt.datetime = date.datetime().replace(tzinfo=dt.UTC)
    return (exact + dt.timedelta(milliseconds=500)).replace(microsecond=0)
