"""What weather stations measured before and on the nights of visits."""

from __future__ import annotations

import datetime as dt

from surveys.models import Visit
from surveys.programs.places import place_of
from surveys.programs.stations import station_values
from surveys.protocol.seasons import season_bounds
from surveys.protocol.station_days import NightAtStations, Station, night_at_stations
from surveys.protocol.values import MonthDay


def stations_on(visit: Visit) -> tuple[NightAtStations, dict[str, Station]]:
    """What the stations around the first stop of a visit measured, and the stations by code."""
    began = season_began(visit)
    stations = station_values(visit.route.program, first=began, last=visit.night)
    if not stations:
        return NightAtStations(), {}
    stop = visit.route.stops.order_by("number", "active_from").first()
    if stop is None:
        return NightAtStations(), {}
    measured = night_at_stations(stations, place_of(stop.place), visit.night, began)
    return measured, {station.code: station for station in stations}


def season_began(visit: Visit) -> dt.date:
    version = visit.protocol_version
    begins = MonthDay(month=version.season_begins_month, day=version.season_begins_day)
    return season_bounds(visit.season_year, begins)[0]
