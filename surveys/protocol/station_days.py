"""What a weather station measured before and on a night of a survey.

The days of a station are as it gives them. Many gauges are read in the morning, for the 24 hours
before, so a day may hold most of the rain of the day before it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from surveys.protocol.distance import distance_m
from surveys.protocol.values import Place

_ONE_DAY = dt.timedelta(days=1)
# Common practice, no source. Of a season so far, at least this share of its days must be known.
LEAST_KNOWN = 0.9
# A station farther away says nothing of a route.
FARTHEST_M = 60_000.0
# An evening may be colder than the low of its day, or warmer at a stop than at the station.
LEEWAY_C = 5.0


@dataclass(frozen=True, kw_only=True)
class StationDay:
    """Rain in mm, high and low in °C; None where the station has no value."""

    rain: float | None = None
    high: float | None = None
    low: float | None = None


@dataclass(frozen=True, kw_only=True)
class Station:
    """A station with its days."""

    code: str
    name: str
    place: Place
    days: Mapping[dt.date, StationDay]


@dataclass(frozen=True, kw_only=True)
class Measured:
    """A value, the station that has it, and how far away that is. `missing` counts days of the
    time that have no value."""

    value: float
    station: str
    distance_m: float
    missing: int = 0


@dataclass(frozen=True, kw_only=True)
class NightAtStations:
    """Rain in mm, and the high and low of the day in °C, each from the nearest station that has
    it."""

    rain_48h: Measured | None = None
    rain_7d: Measured | None = None
    rain_season: Measured | None = None
    high: Measured | None = None
    low: Measured | None = None


def night_at_stations(
    stations: Iterable[Station], place: Place, night: dt.date, season_began: dt.date
) -> NightAtStations:
    """What the stations around a place measured, each value from the nearest that has it.

    The rain of 48 hours is that of two days, the one of the night and the one before; that of a
    week of seven. Both need every day, that of the season nine days in ten.
    """
    near = sorted(
        (
            (away, station)
            for station in stations
            if (away := distance_m(place, station.place)) <= FARTHEST_M
        ),
        key=lambda pair: (pair[0], pair[1].code),
    )

    def rain(first: dt.date, least_known: float = 1.0) -> Measured | None:
        for away, station in near:
            total, missing = _rain(station, first, night)
            days = (night - first).days + 1
            if days - missing >= least_known * days:
                return Measured(
                    value=round(total, 2), station=station.code, distance_m=away, missing=missing
                )
        return None

    def temperature(which: str) -> Measured | None:
        for away, station in near:
            value = getattr(station.days.get(night, StationDay()), which)
            if value is not None:
                return Measured(value=value, station=station.code, distance_m=away)
        return None

    return NightAtStations(
        rain_48h=rain(night - _ONE_DAY),
        rain_7d=rain(night - 6 * _ONE_DAY),
        rain_season=rain(season_began, LEAST_KNOWN),
        high=temperature("high"),
        low=temperature("low"),
    )


def _rain(station: Station, first: dt.date, last: dt.date) -> tuple[float, int]:
    total, missing, day = 0.0, 0, first
    while day <= last:
        fell = station.days.get(day, StationDay()).rain
        total, missing = (total, missing + 1) if fell is None else (total + fell, missing)
        day += _ONE_DAY
    return total, missing


def is_far_off(celsius: float, measured: NightAtStations) -> bool:
    """Whether a typed air temperature is beyond the high or the low of the day by more than the
    leeway: a slip of the hand or of the unit, or a station in another climate."""
    too_warm = measured.high is not None and celsius > measured.high.value + LEEWAY_C
    too_cold = measured.low is not None and celsius < measured.low.value - LEEWAY_C
    return too_warm or too_cold
