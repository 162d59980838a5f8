"""What weather stations measured before and on the nights of the visits that count."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping

from surveys.models import Program
from surveys.programs.stations import station_values
from surveys.protocol.seasons import season_bounds
from surveys.protocol.station_days import Measured, night_at_stations
from surveys.protocol.values import MonthDay
from surveys.publishing.queries import stream
from surveys.publishing.stops import SharedStop, rough_places

Row = dict[str, str | float | int | None]

_VISITS = """
SELECT v.id::text AS visit, v.night, v.season_year, w.season_begins_month, w.season_begins_day,
       (SELECT p.stop_id FROM counted_period p JOIN surveys_stop s ON s.id = p.stop_id
        WHERE p.visit_id = v.id ORDER BY s.number LIMIT 1) AS stop_id
FROM counted_visit v
JOIN surveys_protocolversion w ON w.id = v.protocol_version_id
WHERE v.program_id = %(program)s AND v.season_year BETWEEN %(first_year)s AND %(last_year)s
  AND (%(route)s::bigint IS NULL OR v.route_id = %(route)s)
ORDER BY v.night, v.route_code COLLATE "C", v.id
"""


def station_rows(
    program: Program,
    stops: Mapping[int, SharedStop],
    *,
    first_year: int = 0,
    last_year: int = 9999,
    route_id: int | None = None,
) -> Iterator[Row]:
    """One row a visit of which a station near it tells something. Stations are near the place as it
    is shared, so that the nearest ones tell no more of it."""
    stations = station_values(program)
    if not stations:
        return
    places = rough_places(stops)
    parameters = {
        "program": program.pk,
        "first_year": first_year,
        "last_year": last_year,
        "route": route_id,
    }
    for visit in stream(_VISITS, parameters):
        if visit.stop_id is None:
            continue
        begins = MonthDay(month=visit.season_begins_month, day=visit.season_begins_day)
        began: dt.date = season_bounds(visit.season_year, begins)[0]
        measured = night_at_stations(stations, places[visit.stop_id], visit.night, began)
        season = measured.rain_season
        row: Row = {
            "visit": visit.visit,
            **_cells("rain_48h", measured.rain_48h),
            **_cells("rain_7d", measured.rain_7d),
            **_cells("rain_season", season),
            "rain_season_missing": season.missing if season else None,
            **_cells("high", measured.high),
            **_cells("low", measured.low),
        }
        if any(value is not None for name, value in row.items() if name != "visit"):
            yield row


def _cells(name: str, measured: Measured | None) -> Row:
    return {
        name: measured.value if measured else None,
        f"{name}_station": measured.station if measured else None,
        f"{name}_distance_km": round(measured.distance_m / 1000) if measured else None,
    }
