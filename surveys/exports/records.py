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
from surveys.publishing.people import published_name
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
class Wanted:
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


_PLACES = """
JOIN unnest(%(stop_ids)s::bigint[], %(stop_labels)s::text[], %(latitudes)s::float8[],
            %(longitudes)s::float8[], %(uncertainties)s::float8[])
     AS x (stop_id, label, latitude, longitude, uncertainty_m) ON x.stop_id = p.stop_id"""
_NAMES = """
JOIN unnest(%(person_ids)s::bigint[], %(person_names)s::text[])
     AS n (person_id, name) ON n.person_id = v.observer_id"""
_VISITS = """
FROM surveys_route r
JOIN surveys_visit v ON v.route_id = r.id AND v.counts_in_trends AND v.state = 'accepted'"""
_PERIODS = f"""{_VISITS}
JOIN surveys_listeningperiod p ON p.visit_id = v.id AND p.counts_in_trends{_PLACES}"""
# A silence has no row of its own: it follows from the stop that was listened to and the
# checklist of that night. A call row that does not count makes its species missing there.
_CALLS = f"""{_PERIODS}
JOIN surveys_checklistentry e
  ON e.program_id = r.program_id
 AND (e.listed_from IS NULL OR v.night >= e.listed_from)
 AND (e.listed_until IS NULL OR v.night <= e.listed_until)
JOIN surveys_species t ON t.id = e.species_id
LEFT JOIN surveys_callindex c ON c.period_id = p.id AND c.species_id = e.species_id"""


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
    found = []
    for name, expression in expressions.items():
        cell = cells[name]
        kind = "id" if cell.unit == "UUID" else _KINDS[cell.type]
        meaning = f"{cell.meaning} Unit: {cell.unit}." if cell.unit else cell.meaning
        if kind == "instant":
            expression = _instant(expression)
        found.append(Column(name=name, kind=kind, expression=expression, meaning=meaning))
    return tuple(found)


VISITS = RecordTable(
    name="visits",
    source=f"{_VISITS}{_NAMES}\nJOIN surveys_protocolversion w ON w.id = v.protocol_version_id"
    "\nJOIN surveys_protocol q ON q.id = w.protocol_id",
    key=("v.id",),
    key_columns=("visit",),
    key_types=("uuid",),
    columns=(
        *_columns(
            "visits",
            visit="v.id",
            route="r.code",
            night="v.night",
            season_year="v.season_year",
            window='v."window"',
            protocol="q.name",
            protocol_version="w.number",
            observer="n.name",
            start_air_temperature="v.start_air_temperature_c::float8",
            start_beaufort="v.start_beaufort",
            start_sky="v.start_sky",
            end_air_temperature="v.end_air_temperature_c::float8",
            end_beaufort="v.end_beaufort",
            end_sky="v.end_sky",
            rain_48h="v.rain_48h_mm::float8",
            days_since_rain="v.days_since_rain",
        ),
        Column(
            name="changed_at",
            kind="instant",
            expression=_instant("v.changed_at"),
            meaning="When the visit was last changed, UTC; for changed_since.",
        ),
    ),
)
PERIODS = RecordTable(
    name="periods",
    source=_PERIODS,
    key=("p.id",),
    key_columns=("period",),
    key_types=("uuid",),
    columns=_columns(
        "periods",
        period="p.id",
        visit="v.id",
        stop="x.label",
        started_at="p.started_at",
        finished_at="p.finished_at",
        paused="p.paused_s",
        air_temperature="coalesce(p.air_temperature_c, v.start_air_temperature_c)::float8",
        water_temperature="p.water_temperature_c::float8",
        beaufort="coalesce(p.beaufort, v.start_beaufort)",
        sky="p.sky",
        noise_index="p.noise_index",
        cars="p.cars",
        moonlight="p.moonlight",
        water_tonight="nullif(p.water_tonight, '')",
    ),
)
CALLS = RecordTable(
    name="calls",
    source=_CALLS,
    key=("p.id", 't.scientific_name COLLATE "C"'),
    key_columns=("period", "species"),
    key_types=("uuid", "text"),
    columns=(
        *_columns("periods", period="p.id", visit="v.id"),
        *_columns("visits", route="r.code", night="v.night", season_year="v.season_year"),
        *_columns(
            "stops",
            stop="x.label",
            latitude="x.latitude",
            longitude="x.longitude",
            coordinate_uncertainty_m="x.uncertainty_m",
        ),
        *_columns("periods", started_at="p.started_at"),
        *_columns(
            "calls",
            species="t.scientific_name",
            call_index="CASE WHEN c.id IS NULL THEN 0 WHEN c.counts_in_trends THEN c.index END",
        ),
    ),
)

# From the history that triggers write: the last row of each visit that counted, and the moment of
# the next one. A visit that was deleted is among them; one that counts again is not.
_STOPPED = """
FROM surveys_route r
JOIN (
    SELECT l.pgh_obj_id AS id, l.route_id, l.night, l.season_year,
           (SELECT min(n.pgh_created_at) FROM surveys_visitevent n
            WHERE n.pgh_obj_id = l.pgh_obj_id AND n.pgh_id > l.pgh_id) AS changed_at
    FROM (
        SELECT DISTINCT ON (h.pgh_obj_id)
               h.pgh_obj_id, h.pgh_id, h.route_id, h.night, h.season_year
        FROM surveys_visitevent h
        JOIN surveys_route o ON o.id = h.route_id AND o.program_id = %(program)s
        WHERE h.counts_in_trends AND h.pgh_label <> 'delete'
        ORDER BY h.pgh_obj_id, h.pgh_id DESC
    ) l
    WHERE NOT EXISTS (
        SELECT FROM surveys_visit s WHERE s.id = l.pgh_obj_id AND s.counts_in_trends
    )
) v ON v.route_id = r.id"""
STOPPED = RecordTable(
    name="stopped_counting",
    source=_STOPPED,
    key=("v.id",),
    key_columns=("visit",),
    key_types=("uuid",),
    columns=(
        *_columns(
            "visits",
            visit="v.id",
            route="r.code",
            night="v.night",
            season_year="v.season_year",
        ),
        Column(
            name="stopped_at",
            kind="instant",
            expression=_instant("v.changed_at"),
            meaning="When the visit stopped counting, UTC; for changed_since.",
        ),
    ),
)

_FILTERS = {
    "season_year": "v.season_year = %(season_year)s",
    "first_year": "v.season_year >= %(first_year)s",
    "last_year": "v.season_year <= %(last_year)s",
    "route": "r.code = %(route)s",
    "changed_since": "v.changed_at >= %(changed_since)s",
}
_SPECIES = "t.code = %(species)s"


def statement(
    program: Program,
    table: RecordTable,
    wanted: Wanted,
    *,
    exact: bool,
    after: Sequence[str] | None = None,
    limit: int | None = None,
) -> Statement:
    """The records of a program in the order of the table's key; those that follow the key
    `after`, at most `limit` of them."""
    parameters: dict[str, object] = {"program": program.pk}
    conditions = ["r.program_id = %(program)s"]
    for name, condition in _FILTERS.items():
        value = getattr(wanted, name)
        if value is not None:
            conditions.append(condition)
            parameters[name] = value
    if wanted.species is not None and table is CALLS:
        conditions.append(_SPECIES)
        parameters["species"] = wanted.species
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
    columns = ",\n       ".join(f'{one.expression} AS "{one.name}"' for one in table.columns)
    sql = f"SELECT {columns}{table.source}\nWHERE {' AND '.join(conditions)}"
    sql += f"\nORDER BY {', '.join(table.key)}"
    if limit is not None:
        sql += "\nLIMIT %(limit)s"
        parameters["limit"] = limit
    return Statement(sql=sql, parameters=parameters)


def page(
    program: Program,
    table: RecordTable,
    wanted: Wanted,
    *,
    exact: bool,
    after: Sequence[str] | None,
    limit: int,
) -> tuple[list[dict[str, object]], list[str] | None]:
    """Some rows by column name, and the key after which the next page begins, None at the end."""
    found = statement(program, table, wanted, exact=exact, after=after, limit=limit + 1)
    rows = [row._asdict() for row in fetch(found.sql, found.parameters)]
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
    people = list(Person.objects.filter(visits__route__program=program).distinct())
    return {
        "person_ids": [person.pk for person in people],
        "person_names": [published_name(person, program) for person in people],
    }
