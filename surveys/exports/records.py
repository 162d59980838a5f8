"""Live records for analysts: accepted visits that count, with places and people as they may be
shared. One statement a table; pages and exports are both made from it.

Columns have the names of the published tables (`surveys.publishing.tables`). What is worked out
from all rows together, such as the number of a visit within its season, is in publications only.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from accounts.models import Person
from surveys.models import Program
from surveys.publishing.people import confirmer_names, published_name
from surveys.publishing.places import (
    OPEN,
    SharedPlace,
    share_place,
)
from surveys.publishing.stops import (
    SharedStop,
    shared_stops,
)
from surveys.publishing.tables import (
    TABLE,
    CellType,
)
from surveys.seasons.query import fetch

Kind = Literal["id", "text", "whole", "number", "flag", "date", "instant"]


@dataclass(frozen=True, kw_only=True)
class Column:
    """`expression` is how the column is computed; it is trusted text of this module."""

    name: str
    kind: Kind
    expression: str
    meaning: str


@dataclass(frozen=True, kw_only=True)
class RecordTable:
    """A table of live records. `key` are expressions that together tell its rows apart and
    put them in order; `key_types` are their SQL types."""

    name: str
    columns: tuple[Column, ...]
    source: str
    key: tuple[str, ...]
    key_columns: tuple[str, ...]
    key_types: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class RecordFilter:
    """Which records: all of a program, or those that pass every filter that is given."""

    season_year: int | None = None
    first_year: int | None = None
    last_year: int | None = None
    species: str | None = None
    route: str | None = None
    changed_since: dt.datetime | None = None


@dataclass(frozen=True, kw_only=True)
class Statement:
    """SQL that gives the columns of a table under their names, and what goes into it."""

    sql: str
    parameters: Mapping[str, object]


def _instant(field: str) -> str:
    return f"""to_char({field} AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS"Z"')"""


# Every source calls the rows that make the table `main`; all of them have the columns
# program_id, route_code, night, season_year and changed_at.
_PLACES = """
JOIN unnest(%(stop_ids)s::bigint[], %(stop_labels)s::text[], %(latitudes)s::float8[],
            %(longitudes)s::float8[], %(uncertainties)s::float8[])
     AS place (stop_id, label, latitude, longitude, uncertainty_m)
  ON place.stop_id = main.stop_id"""
_NAMES = """
JOIN unnest(%(person_ids)s::bigint[], %(person_names)s::text[])
     AS person (id, name)
  ON person.id = main.observer_id"""
_CONFIRMERS = """
LEFT JOIN unnest(%(person_ids)s::bigint[], %(person_names)s::text[])
     AS person (id, name)
  ON person.id = main.confirmed_by_id"""
_PROTOCOLS = """
JOIN surveys_protocolversion version ON version.id = main.protocol_version_id
JOIN surveys_protocol protocol ON protocol.id = version.protocol_id"""


_KINDS: dict[CellType, Kind] = {
    "string": "text",
    "integer": "whole",
    "number": "number",
    "boolean": "flag",
    "date": "date",
    "datetime": "instant",
}


def _columns(table: str, **expressions: str) -> tuple[Column, ...]:
    """Columns of a published table, with what they mean there, and how each is computed here."""
    cells = {cell.name: cell for cell in TABLE[table].columns}
    columns = []
    for name, expression in expressions.items():
        cell = cells[name]
        kind = "id" if cell.unit == "UUID" else _KINDS[cell.type]
        meaning = f"{cell.meaning} Unit: {cell.unit}." if cell.unit else cell.meaning
        if kind == "instant":
            expression = _instant(expression)
        columns.append(Column(name=name, kind=kind, expression=expression, meaning=meaning))
    return tuple(columns)


VISITS = RecordTable(
    name="visits",
    source=f"FROM counted_visit main{_NAMES}{_PROTOCOLS}",
    key=("main.id",),
    key_columns=("visit",),
    key_types=("uuid",),
    columns=(
        *_columns(
            "visits",
            visit="main.id",
            route="main.route_code",
            night="main.night",
            season_year="main.season_year",
            window='main."window"',
            protocol="protocol.name",
            protocol_version="version.number",
            observer="person.name",
            start_air_temperature="main.start_air_temperature_c::float8",
            start_beaufort="main.start_beaufort",
            start_sky="nullif(main.start_sky, '')",
            end_air_temperature="main.end_air_temperature_c::float8",
            end_beaufort="main.end_beaufort",
            end_sky="nullif(main.end_sky, '')",
            rain_48h="main.rain_48h_mm::float8",
            rain_trace="main.rain_trace",
        ),
        Column(
            name="changed_at",
            kind="instant",
            expression=_instant("main.changed_at"),
            meaning="When the visit was last changed, UTC; for changed_since.",
        ),
    ),
)
PERIODS = RecordTable(
    name="periods",
    source=f"FROM counted_period main{_PLACES}",
    key=("main.id",),
    key_columns=("period",),
    key_types=("uuid",),
    columns=_columns(
        "periods",
        period="main.id",
        visit="main.visit_id",
        stop="place.label",
        started_at="main.started_at",
        finished_at="main.finished_at",
        paused="main.paused_s",
        air_temperature="main.air_temperature_c::float8",
        water_temperature="main.water_temperature_c::float8",
        beaufort="main.beaufort",
        sky="nullif(main.sky, '')",
        noise="nullif(main.noise, '')",
        water_tonight="nullif(main.water_tonight, '')",
    ),
)
CALLS = RecordTable(
    name="calls",
    source=f"FROM counted_call main{_PLACES}{_CONFIRMERS}",
    key=("main.period_id", 'main.scientific_name COLLATE "C"'),
    key_columns=("period", "species"),
    key_types=("uuid", "text"),
    columns=(
        *_columns("periods", period="main.period_id", visit="main.visit_id"),
        *_columns(
            "visits",
            route="main.route_code",
            night="main.night",
            season_year="main.season_year",
        ),
        *_columns(
            "stops",
            stop="place.label",
            latitude="place.latitude",
            longitude="place.longitude",
            coordinate_uncertainty_m="place.uncertainty_m",
        ),
        *_columns("periods", started_at="main.started_at"),
        *_columns(
            "calls",
            species="main.scientific_name",
            call_index="main.call_index",
            confirmed_by_ear="CASE WHEN main.call_index > 0 THEN main.confirmed_at IS NOT NULL END",
            checked_by_ear="CASE WHEN main.call_index > 0 THEN coalesce(main.checked, false) END",
            confirmed_by="person.name",
            recorded_index="main.recorded_index",
            far_index="main.far_index",
        ),
    ),
)

_OWN_VALUES = """FROM (
    SELECT visit.id AS event, visit.id AS visit_id, field.key,
           visit.own_fields ->> field.key AS value, visit.program_id, visit.route_code,
           visit.night, visit.season_year, visit.changed_at
    FROM counted_visit visit
    JOIN surveys_ownfield field
      ON field.program_id = visit.program_id AND field.per = 'visit' AND field.published
     AND visit.own_fields ? field.key
    UNION ALL
    SELECT period.id, period.visit_id, field.key, period.own_fields ->> field.key,
           period.program_id, period.route_code, period.night, period.season_year,
           period.changed_at
    FROM counted_period period
    JOIN surveys_ownfield field
      ON field.program_id = period.program_id AND field.per = 'stop' AND field.published
     AND period.own_fields ? field.key
) main"""
OWN_VALUES = RecordTable(
    name="own_values",
    source=_OWN_VALUES,
    key=("main.event", 'main.key COLLATE "C"'),
    key_columns=("event", "field"),
    key_types=("uuid", "text"),
    columns=_columns(
        "own_values",
        event="main.event",
        visit="main.visit_id",
        field="main.key",
        value="main.value",
    ),
)

# From the history that triggers write: the last row of each visit that counted, and the moment of
# the next one. A visit that was deleted is among them; one that counts again is not.
_STOPPED = """FROM (
    SELECT last_counted.pgh_obj_id AS id, route.program_id, route.code AS route_code,
           last_counted.night, last_counted.season_year,
           (SELECT min(later.pgh_created_at) FROM surveys_visitevent later
            WHERE later.pgh_obj_id = last_counted.pgh_obj_id
              AND later.pgh_id > last_counted.pgh_id) AS changed_at
    FROM (
        SELECT DISTINCT ON (event.pgh_obj_id)
               event.pgh_obj_id, event.pgh_id, event.route_id, event.night, event.season_year
        FROM surveys_visitevent event
        JOIN surveys_route route ON route.id = event.route_id
        WHERE route.program_id = %(program)s
          AND event.counts_in_trends AND event.pgh_label <> 'delete'
        ORDER BY event.pgh_obj_id, event.pgh_id DESC
    ) last_counted
    JOIN surveys_route route ON route.id = last_counted.route_id
    WHERE NOT EXISTS (SELECT FROM counted_visit WHERE id = last_counted.pgh_obj_id)
) main"""
STOPPED = RecordTable(
    name="stopped_counting",
    source=_STOPPED,
    key=("main.id",),
    key_columns=("visit",),
    key_types=("uuid",),
    columns=(
        *_columns(
            "visits",
            visit="main.id",
            route="main.route_code",
            night="main.night",
            season_year="main.season_year",
        ),
        Column(
            name="stopped_at",
            kind="instant",
            expression=_instant("main.changed_at"),
            meaning="When the visit stopped counting, UTC; for changed_since.",
        ),
    ),
)

_FILTERS = {
    "season_year": "main.season_year = %(season_year)s",
    "first_year": "main.season_year >= %(first_year)s",
    "last_year": "main.season_year <= %(last_year)s",
    "route": "main.route_code = %(route)s",
    "changed_since": "main.changed_at >= %(changed_since)s",
}
_SPECIES = "main.species_code = %(species)s"


def statement(
    program: Program,
    table: RecordTable,
    filters: RecordFilter,
    *,
    exact: bool,
    after: Sequence[str] | None = None,
    limit: int | None = None,
) -> Statement:
    """The records of a program in the order of the table's key; those that follow the key
    `after`, at most `limit` of them."""
    parameters: dict[str, object] = {"program": program.pk}
    conditions = ["main.program_id = %(program)s"]
    for name, condition in _FILTERS.items():
        value = getattr(filters, name)
        if value is not None:
            conditions.append(condition)
            parameters[name] = value
    if filters.species is not None and table is CALLS:
        conditions.append(_SPECIES)
        parameters["species"] = filters.species
    if after is not None:
        names = [f"after_{number}" for number in range(len(table.key))]
        marks = ", ".join(
            f"%({name})s::{type_}" for name, type_ in zip(names, table.key_types, strict=True)
        )
        conditions.append(f"({', '.join(table.key)}) > ({marks})")
        parameters |= zip(names, after, strict=True)
    if "unnest(%(stop_ids)s" in table.source:
        parameters |= _places(program, exact=exact)
    if "unnest(%(person_ids)s" in table.source:
        parameters |= _names(program)
    columns = ",\n       ".join(
        f'{column.expression} AS "{column.name}"' for column in table.columns
    )
    sql = f"SELECT {columns}\n{table.source}\nWHERE {' AND '.join(conditions)}"
    sql += f"\nORDER BY {', '.join(table.key)}"
    if limit is not None:
        sql += "\nLIMIT %(limit)s"
        parameters["limit"] = limit
    return Statement(sql=sql, parameters=parameters)


def page(
    program: Program,
    table: RecordTable,
    filters: RecordFilter,
    *,
    exact: bool,
    after: Sequence[str] | None,
    limit: int,
) -> tuple[list[dict[str, object]], list[str] | None]:
    """Some rows by column name, and the key after which the next page begins, None at the end."""
    query = statement(program, table, filters, exact=exact, after=after, limit=limit + 1)
    rows = [row._asdict() for row in fetch(query.sql, query.parameters)]
    if len(rows) <= limit:
        return rows, None
    last = rows[limit - 1]
    return rows[:limit], [str(last[name]) for name in table.key_columns]


def places_of(program: Program, *, exact: bool) -> list[tuple[SharedStop, SharedPlace]]:
    """Every stop of the program with its place as it may be shared, or as it is."""
    return [
        (stop, _exact_place(stop) if exact else stop.shared)
        for stop in shared_stops(program).values()
    ]


def _exact_place(stop: SharedStop) -> SharedPlace:
    return share_place(stop.row.latitude, stop.row.longitude, OPEN)


def _places(program: Program, *, exact: bool) -> dict[str, object]:
    """Stops as arrays of equal length. Exact coordinates of stops that are not to be shared
    exactly never enter the statement."""
    places = places_of(program, exact=exact)
    return {
        "stop_ids": [stop.row.id for stop, _ in places],
        "stop_labels": [stop.label for stop, _ in places],
        "latitudes": [place.latitude for _, place in places],
        "longitudes": [place.longitude for _, place in places],
        "uncertainties": [place.uncertainty_m for _, place in places],
    }


def _names(program: Program) -> dict[str, object]:
    """Observers, and those who confirmed calls, as they are published."""
    people = Person.objects.filter(visits__route__program=program).distinct()
    names = {person.pk: published_name(person, program) for person in people}
    names |= confirmer_names(program)
    return {"person_ids": list(names), "person_names": list(names.values())}
