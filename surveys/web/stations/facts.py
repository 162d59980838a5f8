"""What stations measured, beside what an observer typed on a visit."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from surveys.language import gettext, said, said_of
from surveys.models import Visit
from surveys.protocol.station_days import Measured, Station, is_far_off
from surveys.protocol.values import DistanceUnit, RainUnit, TemperatureUnit
from surveys.protocol.weather import show_rain, show_temperature
from surveys.protocol.words import distance
from surveys.seasons.stations import stations_on

# Name, value, and a remark, as facts are shown.
Fact = tuple[str, str, str]


def station_facts(visit: Visit) -> tuple[list[Fact], str]:
    """Rain and temperatures of the nearest stations that have them, and a note where a typed
    temperature is far from these; both empty where no station has anything."""
    measured, stations = stations_on(visit)
    if not stations:
        return [], ""
    program = visit.route.program
    rain_unit, degrees = RainUnit(program.rain_unit), TemperatureUnit(program.temperature_unit)

    def where(one: Measured) -> str:
        return _where(one, stations[one.station], DistanceUnit(program.distance_unit))

    facts = [
        (name, show_rain(Decimal(f"{one.value:.2f}"), rain_unit), where(one))
        for name, one in (
            (gettext("Rain in 48 h"), measured.rain_48h),
            (gettext("Rain in 7 days"), measured.rain_7d),
            (gettext("Rain since the season began"), measured.rain_season),
        )
        if one is not None
    ]
    facts += [
        (name, show_temperature(Decimal(f"{one.value:.2f}"), degrees), where(one))
        for name, one in (
            (gettext("High of the day"), measured.high),
            (gettext("Low of the day"), measured.low),
        )
        if one is not None
    ]
    far = [celsius for celsius in _typed(visit) if is_far_off(float(celsius), measured)]
    if not far:
        return facts, ""
    note = said(
        "A typed air temperature, {typed}, is far from the high and low at the station. Check the "
        "number and its unit.",
        typed=show_temperature(far[0], degrees),
    )
    return facts, note


def _typed(visit: Visit) -> Iterator[Decimal]:
    """The air temperatures of the visit, those of its ends first."""
    ends = (visit.start_air_temperature_c, visit.end_air_temperature_c)
    at_stops = visit.periods.order_by("stop__number").values_list("air_temperature_c", flat=True)
    yield from (celsius for celsius in (*ends, *at_stops) if celsius is not None)


def _where(one: Measured, station: Station, unit: DistanceUnit) -> str:
    place = said(
        "{station}, {distance} away", station=station.name, distance=distance(one.distance_m, unit)
    )
    if not one.missing:
        return place
    missing = said_of("{number} day missing", "{number} days missing", one.missing)
    return said("{place}; {missing}", place=place, missing=missing)
