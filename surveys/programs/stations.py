"""Weather stations near the routes of a program: bringing their days, and taking a station out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, Max, Min, QuerySet
from django.shortcuts import get_object_or_404

from accounts.access import Permission, require
from accounts.models import Membership
from surveys import dates
from surveys.language import gettext, said
from surveys.models import Program, StationDay, Stop, WeatherStation
from surveys.programs.places import likely_slip, place_of, point_of
from surveys.protocol.distance import distance_m
from surveys.protocol.station_days import FARTHEST_M
from surveys.protocol.station_days import Station as StationValues
from surveys.protocol.station_days import StationDay as DayValues
from surveys.protocol.values import DistanceUnit, Place, TemperatureUnit
from surveys.protocol.weather import show_temperature
from surveys.protocol.words import distance

MOST_STATIONS = 50
_BATCH = 5000


def stations_of(program: Program) -> QuerySet[WeatherStation]:
    """The program's stations with the number of their days, the first and the last."""
    return program.stations.annotate(
        day_count=Count("days"), first_day=Min("days__day"), last_day=Max("days__day")
    )


def station_of(program: Program, station_id: int) -> WeatherStation:
    """One station of the program. Raises Http404."""
    return get_object_or_404(stations_of(program), pk=station_id)


def station_values(
    program: Program, *, first: dt.date | None = None, last: dt.date | None = None
) -> list[StationValues]:
    """The stations with their days from `first` to `last`, as plain values."""
    stations = list(program.stations.all())
    if not stations:
        return []
    days = StationDay.objects.filter(station__program=program)
    if first:
        days = days.filter(day__gte=first)
    if last:
        days = days.filter(day__lte=last)
    of_station: dict[int, dict[dt.date, DayValues]] = {}
    for station, day, *values in days.values_list("station", "day", "rain_mm", "high_c", "low_c"):
        rain, high, low = (None if value is None else float(value) for value in values)
        of_station.setdefault(station, {})[day] = DayValues(rain=rain, high=high, low=low)
    return [
        StationValues(
            code=station.code,
            name=station.name,
            place=place_of(station.place),
            days=of_station.get(station.pk, {}),
        )
        for station in stations
    ]


@transaction.atomic
def bring_station(
    member: Membership,
    *,
    code: str,
    name: str,
    place: Place,
    days: Mapping[dt.date, DayValues],
) -> WeatherStation:
    """Keep the days of a station. One of the same code gets this name and place; its days in the
    file replace those that are there, and the others stay. Raises ValidationError by field."""
    require(member, Permission.MANAGE)
    Program.objects.select_for_update().get(pk=member.program_id)
    code, name = code.strip(), name.strip()
    _check_facts(code, name)
    _check_days(days, TemperatureUnit(member.program.temperature_unit))
    _check_near(member.program, place)
    station = member.program.stations.filter(code=code).first()
    if station is None:
        _check_room(member.program)
        station = WeatherStation(program=member.program, code=code)
    station.name, station.place = name, point_of(place)
    station.full_clean(exclude=["place"], validate_constraints=False)
    station.save()
    _write_days(station, days)
    return station


def _write_days(station: WeatherStation, days: Mapping[dt.date, DayValues]) -> None:
    station.days.filter(day__in=days).delete()
    StationDay.objects.bulk_create(
        (
            StationDay(
                station=station,
                day=day,
                rain_mm=_decimal(values.rain),
                high_c=_decimal(values.high),
                low_c=_decimal(values.low),
            )
            for day, values in sorted(days.items())
        ),
        batch_size=_BATCH,
    )


def _decimal(value: float | None) -> Decimal | None:
    return None if value is None else Decimal(f"{value:.2f}")


def _check_facts(code: str, name: str) -> None:
    wrong = {}
    if not code:
        wrong["code"] = gettext("Give the station a code. The file does not hold one.")
    if not name:
        wrong["name"] = gettext("Give the station a name.")
    if wrong:
        raise ValidationError(wrong)


def _check_days(days: Mapping[dt.date, DayValues], unit: TemperatureUnit) -> None:
    for day, values in sorted(days.items()):
        if values.high is not None and values.low is not None and values.high < values.low:
            raise ValidationError(
                {
                    "file": said(
                        "On {day} the high of {high} is below the low of {low}. Are the two "
                        "columns exchanged?",
                        day=dates.day(day),
                        high=show_temperature(Decimal(str(values.high)), unit),
                        low=show_temperature(Decimal(str(values.low)), unit),
                    )
                }
            )


def _check_near(program: Program, place: Place) -> None:
    """A station farther than its values reach from every stop is a slip of the hand."""
    stops = [
        place_of(point)
        for point in Stop.objects.filter(route__program=program).values_list("place", flat=True)
    ]
    if not stops:
        return
    nearest = min(distance_m(place, stop) for stop in stops)
    if nearest > FARTHEST_M:
        units = DistanceUnit(program.distance_unit)
        question = likely_slip(place, stops) or gettext("Check both numbers.")
        raise ValidationError(
            {
                "latitude": said(
                    "This is {away} from the nearest stop. A station farther than {most} is "
                    "not used. {question}",
                    away=distance(nearest, units),
                    most=distance(FARTHEST_M, units),
                    question=question,
                )
            }
        )


def _check_room(program: Program) -> None:
    if program.stations.count() >= MOST_STATIONS:
        raise ValidationError(
            said("A program can have up to {most} stations. Delete one first.", most=MOST_STATIONS)
        )


@transaction.atomic
def delete_station(member: Membership, station_id: int) -> WeatherStation:
    """Take a station out, with its days. Visits keep what was typed."""
    require(member, Permission.MANAGE)
    station = get_object_or_404(
        WeatherStation.objects.select_for_update(), program=member.program, pk=station_id
    )
    station.delete()
    return station
