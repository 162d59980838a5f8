"""A weather station for a demo program: the weather of its nights, as a gauge would tell it."""

from __future__ import annotations

import datetime as dt
from random import Random

from django.contrib.gis.geos import Point

from surveys.demo.story import Story
from surveys.models import Program, StationDay, WeatherStation

# A gauge that was not read; from an evening to the high and the low of its day, in °C.
_NOT_READ = 0.01
_HIGH_ABOVE, _LOW_BELOW, _SPREAD = 5.0, 5.0, 1.0
_NORTH_OF_ROUTE = 0.03


def write_station(program: Program, story: Story, rng: Random) -> None:
    """One station a few kilometers north of the first stop of the first route."""
    first = story.routes[0].stops[0]
    station = WeatherStation.objects.create(
        program=program,
        code=f"{story.routes[0].code}-GAUGE",
        name=f"{first.name.partition(' ')[0]} Mill gauge",
        place=Point(first.place.longitude, first.place.latitude + _NORTH_OF_ROUTE, srid=4326),
    )
    StationDay.objects.bulk_create(
        _day(station, day, weather.rain_mm, weather.evening_c, rng)
        for day, weather in sorted(story.weather.items())
        if rng.random() >= _NOT_READ
    )


def _day(
    station: WeatherStation, day: dt.date, rain: float, evening: float, rng: Random
) -> StationDay:
    return StationDay(
        station=station,
        day=day,
        rain_mm=rain,
        high_c=round(evening + _HIGH_ABOVE + abs(rng.gauss(0, _SPREAD)), 1),
        low_c=round(evening - _LOW_BELOW - abs(rng.gauss(0, _SPREAD)), 1),
    )
