"""Freeze what counts into CSV tables in a folder, as of one instant."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from django.db import connection, transaction
from django.db.models import Min, QuerySet

from accounts.models import Person
from surveys.models import (
    Program,
    ProtocolVersion,
    Visit,
)
from surveys.programs.schedule import open_season
from surveys.programs.versions import protocol_values, units_of
from surveys.programs.wetland_changes import changes_of
from surveys.protocol.limits.phrases import window_in_words
from surveys.protocol.limits.words import hearing_in_words, limits_in_words
from surveys.protocol.nights import night_of
from surveys.protocol.seasons import season_bounds
from surveys.protocol.sky import sunset_of
from surveys.protocol.values import (
    MonthDay,
)
from surveys.publishing import tables
from surveys.publishing.exceptions import NamesCollide
from surveys.publishing.frozen import (
    About,
    Frozen,
    Value,
    write_table,
)
from surveys.publishing.hints import hint_cells
from surveys.publishing.people import confirmer_names, published_name
from surveys.publishing.places import (
    OPEN,
    SharedPlace,
    share_place,
)
from surveys.publishing.queries import (
    CALLS,
    OWN_VALUES,
    PERIODS,
    SIGHTINGS,
    VISITS,
    stream,
)
from surveys.publishing.routeplaces import route_middle
from surveys.publishing.station_weather import station_rows
from surveys.publishing.stops import (
    SharedStop,
    named_routes,
    rough_places,
    shared_stops,
)
from surveys.publishing.tables import Table
from surveys.publishing.yearly import yearly_cells
from surveys.seasons.yearly import yearly_table

# Tables that hold places: the only ones that differ for those who may have exact ones.
PLACES = (tables.ROUTES, tables.STOPS)


@contextmanager
def snapshot() -> Iterator[None]:
    """All queries within see the data of one instant, and write nothing.

    Within a transaction that already runs, that one's isolation holds.
    """
    if connection.in_atomic_block:
        yield
        return
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield


def freeze(program: Program, folder: Path, about: About, *, exact: bool = False) -> Frozen:
    """Write the tables of rows and the yearly table; `add_trends` writes what is fitted to them.
    To be called within `snapshot`.

    Raises NamesCollide when two species of the checklist share a scientific name.
    """
    checklist = _checklist(program)
    parameters = {"program": program.pk, "season_year": about.season_year}
    stops = shared_stops(program)
    write_table(folder, tables.REGIONS, _regions(program))
    write_table(folder, tables.CHECKLIST, checklist)
    write_table(folder, tables.PROTOCOLS, _protocols(program, about.season_year))
    write_table(folder, tables.SEASONS, _seasons(program, about))
    write_table(folder, tables.VISITS, _visits(program, parameters))
    write_table(folder, tables.PERIODS, _periods(program, parameters, stops))
    weather = station_rows(program, stops, last_year=about.season_year)
    header = tables.STATION_WEATHER.header
    write_table(folder, tables.STATION_WEATHER, ([row[name] for name in header] for row in weather))
    write_table(folder, tables.CALLS, _calls(program, parameters))
    write_table(folder, tables.SIGHTINGS, _sightings(parameters))
    write_table(folder, tables.OWN_VALUES, _own_values(parameters))
    yearly = yearly_table(program, last_year=about.season_year)
    write_table(folder, tables.YEARLY, yearly_cells(yearly))
    write_table(folder, tables.HINT_ERRORS, hint_cells(program, about.season_year))
    frozen = Frozen(about=about, folder=folder)
    write_table(folder, tables.OWN_FIELDS, _own_fields(program, frozen))
    _write_places(program, frozen, stops, exact=exact)
    write_table(folder, tables.CHANGES, _changes(program, frozen, stops))
    return frozen


def with_exact_places(program: Program, frozen: Frozen, folder: Path) -> Frozen:
    """The same tables with exact routes and stops, for those who may have them."""
    for table in tables.TABLES:
        if table not in PLACES:
            (folder / table.file).parent.mkdir(parents=True, exist_ok=True)
            (folder / table.file).symlink_to(frozen.folder / table.file)
    exact = Frozen(about=frozen.about, folder=folder)
    _write_places(program, exact, shared_stops(program), exact=True)
    return exact


def _checklist(program: Program) -> list[tuple[Value, ...]]:
    entries = list(
        program.checklist.select_related("species")
        .prefetch_related("species__members")
        .order_by("order", "pk")
    )
    counts = Counter(entry.species.scientific_name for entry in entries)
    twice = [name for name, count in counts.items() if count > 1]
    if twice:
        raise NamesCollide(twice[0])
    return [
        (
            entry.species.scientific_name,
            entry.species.code,
            entry.species.common_name,
            entry.species.is_complex,
            "; ".join(sorted(member.scientific_name for member in entry.species.members.all())),
            entry.listed_from,
            entry.listed_until,
            *_month_days(entry.calling_season),
        )
        for entry in entries
    ]


def _month_days(season: tuple[MonthDay, MonthDay] | None) -> tuple[str | None, str | None]:
    if season is None:
        return None, None
    first, last = (f"{day.month:02}-{day.day:02}" for day in season)
    return first, last


def _regions(program: Program) -> Iterator[tuple[Value, ...]]:
    for region, weight in sorted(program.region_weights.items()):
        yield region, float(weight), program.weights_are


def _breakable(parts: Iterable[str]) -> str:
    """In files people search for `10 °C` as they type it."""
    return "; ".join(parts).replace("\N{NO-BREAK SPACE}", " ")


def _protocols(program: Program, season_year: int) -> Iterator[tuple[Value, ...]]:
    units = units_of(program)
    for version in versions_used(program, season_year):
        protocol = protocol_values(version)
        yield (
            protocol.name,
            protocol.version,
            version.in_force_from,
            _breakable(f"{name}: {limit}" for name, limit in limits_in_words(protocol, units)),
            _breakable(f"{window.name}: {window_in_words(window)}" for window in protocol.windows),
            hearing_in_words(protocol, units),
            version.source,
        )


def _seasons(program: Program, about: About) -> Iterator[tuple[Value, ...]]:
    night = night_of(about.published_at, program.time_zone)
    still_open = open_season(program, night)
    years = counted_visits(program, about.season_year).order_by("season_year")
    for year in years.values_list("season_year", flat=True).distinct():
        yield year, year == still_open


def counted_visits(program: Program, season_year: int) -> QuerySet[Visit]:
    """The visits that count, up to and with a season year."""
    return Visit.objects.counted(program).filter(season_year__lte=season_year)


def versions_used(program: Program, season_year: int) -> list[ProtocolVersion]:
    """The protocol versions under which the visits that count were made."""
    used = counted_visits(program, season_year).order_by().values("protocol_version")
    return list(
        ProtocolVersion.objects.filter(pk__in=used)
        .select_related("protocol")
        .prefetch_related("windows")
        .order_by("protocol__name", "number")
    )


def observers(program: Program, season_year: int) -> list[Person]:
    visits = counted_visits(program, season_year).order_by().values("observer")
    return list(Person.objects.filter(pk__in=visits).order_by("name", "pk"))


def first_season_year(program: Program, season_year: int) -> int | None:
    return counted_visits(program, season_year).aggregate(first=Min("season_year"))["first"]


def _visits(program: Program, parameters: Mapping[str, Any]) -> Iterator[tuple[Value, ...]]:
    names = {
        person.pk: published_name(person, program)
        for person in observers(program, parameters["season_year"])
    }

    @cache
    def begins(season_year: int, month: int, day: int) -> dt.date:
        return season_bounds(season_year, MonthDay(month=month, day=day))[0]

    for row in stream(VISITS, parameters):
        begun = begins(row.season_year, row.season_begins_month, row.season_begins_day)
        yield _cells(
            tables.VISITS, row, day=(row.night - begun).days, observer=names[row.observer_id]
        )


def _periods(
    program: Program, parameters: Mapping[str, object], stops: Mapping[int, SharedStop]
) -> Iterator[tuple[Value, ...]]:
    places = rough_places(stops)
    visit, sunset = None, None
    for row in stream(PERIODS, parameters):
        if row.visit != visit:
            visit = row.visit
            sunset = sunset_of(places[row.stop_id], row.night, program.time_zone)
        late = None
        if sunset is not None and row.started_at is not None:
            late = round((row.started_at - sunset).total_seconds() / 60, 2)
        yield _cells(tables.PERIODS, row, stop=stops[row.stop_id].label, minutes_after_sunset=late)


def _calls(program: Program, parameters: Mapping[str, object]) -> Iterator[tuple[Value, ...]]:
    names = confirmer_names(program)
    for row in stream(CALLS, parameters):
        yield _cells(tables.CALLS, row, confirmed_by=names.get(row.confirmed_by_id))


def _sightings(parameters: Mapping[str, object]) -> Iterator[tuple[Value, ...]]:
    for row in stream(SIGHTINGS, parameters):
        yield _cells(tables.SIGHTINGS, row)


def _own_values(parameters: Mapping[str, object]) -> Iterator[tuple[Value, ...]]:
    for row in stream(OWN_VALUES, parameters):
        yield _cells(tables.OWN_VALUES, row)


def _own_fields(program: Program, frozen: Frozen) -> Iterator[tuple[Value, ...]]:
    """The fields that have a value in the publication, in the order of the sheet."""
    used = {row["field"] for row in frozen.records("own_values")}
    for field in program.own_fields.filter(key__in=used).order_by("order", "pk"):
        low, high = field.low, field.high
        yield (
            field.key,
            field.label,
            field.help,
            field.kind,
            field.per,
            field.unit,
            None if low is None else float(low),
            None if high is None else float(high),
            "; ".join(f"{key} = {label}" for key, label in field.choices),
        )


def _cells(table: Table, row: Any, **computed: Value) -> tuple[Value, ...]:
    """A row in the order of the table's columns: what is computed here, else the row's own."""
    return tuple(
        computed[name] if name in computed else getattr(row, name) for name in table.header
    )


def _write_places(
    program: Program, frozen: Frozen, stops: Mapping[int, SharedStop], *, exact: bool
) -> None:
    """Routes that were surveyed, and those of their stops where somebody listened."""
    listened = {row[2] for row in frozen.rows("periods")}
    surveyed = {row[1] for row in frozen.rows("visits")}
    used = [stop for stop in stops.values() if stop.label in listened]
    named = named_routes(stops.values(), exact=exact)
    places = {
        stop.label: share_place(stop.row.latitude, stop.row.longitude, OPEN)
        if exact
        else stop.shared
        for stop in used
    }
    write_table(
        frozen.folder,
        tables.STOPS,
        (_stop_row(stop, places[stop.label], named=stop.row.route in named) for stop in used),
    )
    of_route: dict[str, list[SharedPlace]] = {}
    for stop in used:
        of_route.setdefault(stop.row.route, []).append(places[stop.label])
    routes = program.routes.filter(code__in=surveyed).select_related("protocol")
    write_table(
        frozen.folder,
        tables.ROUTES,
        (
            (
                route.code,
                route.name if route.code in named else "",
                route.region,
                route.stratum,
                route.protocol.name,
                route.chosen,
                len(of_route.get(route.code, ())),
                *route_middle(of_route.get(route.code, ())),
            )
            for route in sorted(routes, key=lambda route: route.code)
        ),
    )


def _changes(
    program: Program, frozen: Frozen, stops: Mapping[int, SharedStop]
) -> Iterator[tuple[Value, ...]]:
    """What was done to the wetlands at the stops of the publication."""
    published = {row[0] for row in frozen.rows("stops")}
    for change in changes_of(program):
        label = stops[change.stop_id].label
        if label in published:
            yield label, change.kind, change.began, change.ended


def _stop_row(stop: SharedStop, place: SharedPlace, *, named: bool) -> tuple[Value, ...]:
    return _cells(
        tables.STOPS,
        stop.row,
        stop=stop.label,
        name=stop.row.name if named else "",
        latitude=place.latitude,
        longitude=place.longitude,
        coordinate_uncertainty_m=place.uncertainty_m,
        grid_degrees=place.grid_degrees,
        data_generalizations=place.generalizations,
        information_withheld=place.withheld,
    )
