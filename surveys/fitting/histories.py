"""From a program's rows to the arrays that the estimators take.

Four queries load a whole program, whatever the number of species.
"""

import datetime as dt
from collections.abc import Iterable, Mapping

import numpy as np

from surveys.models import Program, Stop
from surveys.protocol.sky import sunset_of
from surveys.protocol.values import Place
from surveys.seasons.query import fetch
from surveys.trends.histories import PeriodColumns
from surveys.trends.numerics.arrays import FloatArray
from surveys.trends.periods import WATER, Heard, Listed, ProgramPeriods

# A visit is numbered within its route and season year; two visits of one night stay apart.
# Temperature and wind fall back on the sheet's head where a stop has none of its own.
PERIODS = """
SELECT p.id, p.stop_id, v.id AS visit_id, v.route_id, r.region, v.season_year, v.night,
       v.night - make_date(
           CASE WHEN (w.season_begins_month, w.season_begins_day) = (1, 1)
                THEN v.season_year ELSE v.season_year - 1 END,
           w.season_begins_month, w.season_begins_day) AS day,
       dense_rank() OVER (PARTITION BY v.route_id, v.season_year ORDER BY v.night, v.id) AS number,
       coalesce(p.air_temperature_c, v.start_air_temperature_c)::float8 AS temperature,
       coalesce(p.beaufort, v.start_beaufort)::float8 AS wind,
       p.noise_index::float8 AS noise,
       v.rain_48h_mm::float8 AS rain,
       p.water_tonight AS water,
       p.started_at
FROM surveys_route r
JOIN surveys_visit v ON v.route_id = r.id AND v.counts_in_trends
JOIN surveys_protocolversion w ON w.id = v.protocol_version_id
JOIN surveys_listeningperiod p ON p.visit_id = v.id AND p.counts_in_trends
WHERE r.program_id = %(program)s
ORDER BY v.night, v.id, p.stop_id
"""

CALLS = """
SELECT c.period_id, c.species_id, c.index, c.counts_in_trends AS counts
FROM surveys_route r
JOIN surveys_visit v ON v.route_id = r.id AND v.counts_in_trends
JOIN surveys_listeningperiod p ON p.visit_id = v.id AND p.counts_in_trends
JOIN surveys_callindex c ON c.period_id = p.id
WHERE r.program_id = %(program)s
ORDER BY c.species_id
"""


def load_periods(program: Program) -> ProgramPeriods:
    """Everything the fits of a program need, in four queries."""
    rows = fetch(PERIODS, {"program": program.pk})
    calls = fetch(CALLS, {"program": program.pk})
    stops = list(
        Stop.objects.filter(route__program=program).values_list(
            "pk", "place", "habitat", "hydroperiod", "fish"
        )
    )
    at = {row.id: position for position, row in enumerate(rows)}
    night = np.array([row.night.toordinal() for row in rows], dtype=np.int64)
    count = len(rows)
    columns = PeriodColumns(
        route=np.array([row.route_id for row in rows], dtype=np.int64),
        stop=np.array([row.stop_id for row in rows], dtype=np.int64),
        season_year=np.array([row.season_year for row in rows], dtype=np.int64),
        night=night,
        visit_number=np.array([row.number for row in rows], dtype=np.int64),
        call_index=np.zeros(count),
        heard=np.zeros(count),
        covariates={
            "temperature": _floats(row.temperature for row in rows),
            "wind": _floats(row.wind for row in rows),
            "noise": _floats(row.noise for row in rows),
            "rain": _floats(row.rain for row in rows),
            "water": _floats(WATER.get(row.water) for row in rows),
            "minutes after sunset": _minutes_after_sunset(
                rows, {pk: place for pk, place, *_ in stops}, program.time_zone
            ),
        },
    )
    return ProgramPeriods(
        columns=columns,
        day=np.array([row.day for row in rows], dtype=np.int64),
        region=np.array([row.region for row in rows], dtype=np.str_),
        heard=_heard(calls, at),
        listed=_listed(program),
        stops={
            name: {pk: known[at] for pk, _, *known in stops}
            for at, name in enumerate(("habitat", "hydroperiod", "fish"))
        },
    )


def _floats(values: Iterable[float | None]) -> FloatArray:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _heard(calls: list, at: Mapping[object, int]) -> dict[int, Heard]:
    by_species: dict[int, list] = {}
    for call in calls:
        by_species.setdefault(call.species_id, []).append(call)
    return {
        species_id: Heard(
            at=np.array([at[call.period_id] for call in own], dtype=np.int64),
            index=_floats(call.index if call.counts else None for call in own),
        )
        for species_id, own in by_species.items()
    }


def _listed(program: Program) -> dict[int, Listed]:
    found = {}
    for entry in program.checklist.all():
        season = None
        if entry.calls_from_month and entry.calls_to_month:
            season = (
                (entry.calls_from_month, entry.calls_from_day),
                (entry.calls_to_month, entry.calls_to_day),
            )
        found[entry.species_id] = Listed(
            since=entry.listed_from, until=entry.listed_until, season=season
        )
    return found


def _minutes_after_sunset(rows: list, places: Mapping[int, object], time_zone: str) -> FloatArray:
    """Minutes from sunset at the first stop of the visit to the start of listening."""
    sunsets: dict[object, dt.datetime | None] = {}
    found = []
    for row in rows:
        if row.visit_id not in sunsets:
            point = places[row.stop_id]
            place = Place(latitude=point.y, longitude=point.x)
            sunsets[row.visit_id] = sunset_of(place, row.night, time_zone)
        sunset = sunsets[row.visit_id]
        known = sunset is not None and row.started_at is not None
        found.append((row.started_at - sunset).total_seconds() / 60 if known else None)
    return _floats(found)
