"""From a program's rows to the arrays that the estimators take.

Five queries load a whole program, whatever the number of species; six where joint entries are on
its checklist.
"""

import datetime as dt
from collections.abc import Iterable, Mapping
from functools import cache
from itertools import groupby
from operator import attrgetter

import numpy as np

from surveys.models import ChecklistEntry, Program, ProtocolVersion, Stop
from surveys.programs.schedule import open_season
from surveys.programs.versions import protocol_values, units_of
from surveys.programs.wetland_changes import first_nights_after
from surveys.protocol.limits.words import hearing_in_words
from surveys.protocol.seasons import season_bounds
from surveys.protocol.sky import sunset_of
from surveys.protocol.values import MonthDay, Place
from surveys.seasons.coverage import tonight
from surveys.seasons.joint_entries import told_in_groups
from surveys.seasons.query import fetch
from surveys.trends.histories import PeriodColumns
from surveys.trends.joint_entries import unnamed_years
from surveys.trends.numerics.arrays import FloatArray, IntArray
from surveys.trends.periods import NOISE, TRACE_OF_RAIN_MM, WATER, Heard, Listed, ProgramPeriods

# A visit is numbered within its route and season year; two visits of one night stay apart.
PERIODS = """
WITH debut AS (
    SELECT observer_id, min(season_year) AS season_year
    FROM counted_visit WHERE program_id = %(program)s GROUP BY observer_id
)
SELECT p.id, p.stop_id, p.visit_id, p.route_id, p.region, p.season_year, p.night,
       w.season_begins_month, w.season_begins_day,
       dense_rank() OVER (
           PARTITION BY p.route_id, p.season_year ORDER BY p.night, p.visit_id
       ) AS number,
       p.air_temperature_c::float8 AS temperature,
       p.beaufort::float8 AS wind,
       p.noise,
       CASE WHEN p.rain_trace THEN %(trace)s ELSE p.rain_48h_mm::float8 END AS rain,
       p.water_tonight AS water,
       p.started_at,
       p.protocol_version_id,
       d.season_year = p.season_year AS first_season
FROM counted_period p
JOIN surveys_protocolversion w ON w.id = p.protocol_version_id
JOIN surveys_visit v ON v.id = p.visit_id
JOIN debut d ON d.observer_id = v.observer_id
WHERE p.program_id = %(program)s
ORDER BY p.night, p.visit_id, p.stop_id
"""

CALLS = """
SELECT period_id, species_id, call_index, confirmed_at IS NOT NULL AS certain, checked
FROM counted_record
WHERE program_id = %(program)s
ORDER BY species_id
"""


def load_periods(program: Program) -> ProgramPeriods:
    """Everything the fits of a program need."""
    rows = fetch(PERIODS, {"program": program.pk, "trace": TRACE_OF_RAIN_MM})
    calls = fetch(CALLS, {"program": program.pk})
    stops = list(
        Stop.objects.filter(route__program=program).values_list(
            "pk", "place", "active_from", "active_until", "habitat", "hydroperiod", "fish"
        )
    )
    ways = _listening_of_versions(program)
    entries = list(program.checklist.select_related("species"))
    told = told_in_groups(program)
    count = len(rows)
    columns = PeriodColumns(
        route=np.array([row.route_id for row in rows], dtype=np.int64),
        stop=np.array([row.stop_id for row in rows], dtype=np.int64),
        season_year=np.array([row.season_year for row in rows], dtype=np.int64),
        night=np.array([row.night.toordinal() for row in rows], dtype=np.int64),
        visit_number=np.array([row.number for row in rows], dtype=np.int64),
        call_index=np.zeros(count),
        heard=np.zeros(count),
        covariates={
            "temperature": _floats(row.temperature for row in rows),
            "wind": _floats(row.wind for row in rows),
            "noise": _floats(NOISE.get(row.noise) for row in rows),
            "rain": _floats(row.rain for row in rows),
            "water": _floats(WATER.get(row.water) for row in rows),
            "minutes after sunset": _minutes_after_sunset(
                rows, {pk: place for pk, place, *_ in stops}, program.time_zone
            ),
        },
        way=np.array([ways[row.protocol_version_id] for row in rows], dtype=np.int64),
        first_season=np.array([row.first_season for row in rows], dtype=np.bool_),
    )
    return ProgramPeriods(
        columns=columns,
        day=_days_of_season(rows),
        region=np.array([row.region for row in rows], dtype=np.str_),
        heard=_heard(calls, {row.id: position for position, row in enumerate(rows)}),
        listed=_listed(entries),
        stops={
            name: {pk: facts[position] for pk, _, _, _, *facts in stops}
            for position, name in enumerate(("habitat", "hydroperiod", "fish"))
        },
        in_use={
            pk: (since.toordinal(), until.toordinal() if until else None)
            for pk, _, since, until, *_ in stops
        },
        chosen=dict(program.routes.order_by().values_list("pk", "chosen")),
        open_year=open_season(program, tonight(program)),
        changes=first_nights_after(program),
        weights={region: float(weight) for region, weight in program.region_weights.items()},
        unnamed_years={
            entry.species_id: unnamed_years(entry.species.scientific_name, told)
            for entry in entries
        },
    )


def _listening_of_versions(program: Program) -> dict[int, int]:
    """Protocol versions by what is heard under them: equal numbers, surveyed alike."""
    versions = ProtocolVersion.objects.filter(protocol__program=program).order_by("pk")
    units, numbers = units_of(program), {}
    return {
        version.pk: numbers.setdefault(
            hearing_in_words(protocol_values(version), units), len(numbers)
        )
        for version in versions.select_related("protocol").prefetch_related("windows")
    }


def _floats(values: Iterable[float | None]) -> FloatArray:
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _days_of_season(rows: list) -> IntArray:
    """Days from the first day of the season year to each night."""

    @cache
    def begins(season_year: int, month: int, day: int) -> int:
        return season_bounds(season_year, MonthDay(month=month, day=day))[0].toordinal()

    return np.array(
        [
            row.night.toordinal()
            - begins(row.season_year, row.season_begins_month, row.season_begins_day)
            for row in rows
        ],
        dtype=np.int64,
    )


def _heard(calls: list, positions: Mapping[object, int]) -> dict[int, Heard]:
    """The calls of each species by the positions of their periods; `calls` come by species."""
    return {
        species_id: Heard(
            at=np.array([positions[call.period_id] for call in of_species], dtype=np.int64),
            index=_floats(call.call_index for call in of_species),
            certain=np.array([call.certain for call in of_species], dtype=np.bool_),
            checked=np.array([call.checked for call in of_species], dtype=np.bool_),
        )
        for species_id, group in groupby(calls, key=attrgetter("species_id"))
        if (of_species := list(group))
    }


def _listed(entries: Iterable[ChecklistEntry]) -> dict[int, Listed]:
    listed = {}
    for entry in entries:
        season = entry.calling_season
        listed[entry.species_id] = Listed(
            since=entry.listed_from,
            until=entry.listed_until,
            season=season and tuple((day.month, day.day) for day in season),
        )
    return listed


def _minutes_after_sunset(rows: list, places: Mapping[int, object], time_zone: str) -> FloatArray:
    """Minutes from sunset at the first stop of the visit to the start of listening."""
    sunsets: dict[object, dt.datetime | None] = {}
    minutes: list[float | None] = []
    for row in rows:
        if row.visit_id not in sunsets:
            point = places[row.stop_id]
            place = Place(latitude=point.y, longitude=point.x)
            sunsets[row.visit_id] = sunset_of(place, row.night, time_zone)
        sunset = sunsets[row.visit_id]
        if sunset is None or row.started_at is None:
            minutes.append(None)
        else:
            minutes.append((row.started_at - sunset).total_seconds() / 60)
    return _floats(minutes)
