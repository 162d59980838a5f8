"""Loads what the rules need to know about a visit: rows in, plain values out."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from django.db.models import QuerySet

from accounts.models import Membership
from surveys import models
from surveys.programs.in_force import (
    entries_listed,
    includes,
    own_fields_on,
    stops_in_use,
)
from surveys.programs.versions import protocol_values
from surveys.protocol import values
from surveys.protocol.hours import needs_sunset
from surveys.protocol.own_fields import OwnField
from surveys.protocol.sky import sunset_of
from surveys.visits.joint_entries import members_by_joint_entry
from surveys.visits.sheet.cells import split
from surveys.visits.sheet.reader import SheetReading

# Who was trained, from which night and until which (None: no end).
TrainingRecord = tuple[int, dt.date, dt.date | None]


@dataclass(frozen=True, kw_only=True)
class Background:
    """What a sheet is read and checked against: plain values, and the rows they come from.

    `stops` maps numbers and `species` codes to rows; `catalog` maps casefolded codes and names
    to species codes. `companions` are the people who may be the second observer.
    """

    route: values.Route
    protocol: values.Protocol
    version: models.ProtocolVersion
    stops: Mapping[int, models.Stop]
    species: Mapping[str, models.Species]
    catalog: Mapping[str, str]
    companions: Collection[int] = ()


def stops_on(route: models.Route, night: dt.date) -> dict[int, models.Stop]:
    """The route's stops in use on a night, by number, in driving order."""
    return {stop.number: stop for stop in stops_in_use(route.stops.order_by("number"), night)}


def every_stop(route: models.Route) -> list[models.Stop]:
    return list(route.stops.order_by("number", "active_from"))


def stops_on_sheet(
    every: Sequence[models.Stop],
    night: dt.date,
    numbers: Collection[int],
    carried: Mapping[str, int],
) -> dict[int, models.Stop]:
    """Of `every` stop that the route ever had, oldest first, those that a sheet is read against,
    by the number that it knows them by, in driving order: those in use on the night, and for the
    `numbers` with entries the stops that were surveyed.

    `carried` leads from numbers to the stops that a phone took along. A stop may have been closed,
    moved or given another number since: the entries stay with the place where they were made. A
    number that nobody carried and that is not in use stands for the stop that last had it.
    """
    by_key = {stop.pk: stop for stop in every}
    surveyed = {
        number: stop
        for number in numbers
        if (stop := by_key.get(carried.get(str(number), 0))) is not None
    }
    taken = {stop.pk for stop in surveyed.values()}
    stops = {stop.number: stop for stop in stops_in_use(every, night) if stop.pk not in taken}
    for number in numbers:
        former = [stop for stop in every if stop.number == number and stop.pk not in taken]
        if number not in stops and number not in surveyed and former:
            stops[number] = former[-1]
    return dict(sorted((stops | surveyed).items()))


def checklist_on(program: models.Program, night: dt.date) -> list[models.ChecklistEntry]:
    """The entries of the checklist that applied on a night, in order."""
    entries = program.checklist.select_related("species").order_by("order", "pk")
    return entries_listed(entries, night)


def load_background(visit: models.Visit) -> Background:
    """What the visit's sheet is read and checked against."""
    route, night, version = visit.route, visit.night, visit.protocol_version
    every = every_stop(route)
    stops = stops_on_sheet(every, night, split(visit.cells).stops, visit.carried_stops)
    species = {row.code: row for row in models.Species.objects.known_to(route.program)}
    return Background(
        route=route_of(
            route,
            stops,
            checklist_on(route.program, night),
            own_fields_on(route.program.own_fields.order_by("order", "pk"), night),
            stop_uses(stops, stops_in_use(every, night)),
        ),
        protocol=protocol_values(version),
        version=version,
        stops=stops,
        species=species,
        catalog=species_catalog(species),
        companions=known_companions(visit),
    )


def known_companions(visit: models.Visit) -> frozenset[int]:
    """Everybody who is or was a member of the visit's program, but its observer: whom a sheet may
    name as second observer. It may have been written before somebody left."""
    if not visit.cells.get("second_member", "").strip():
        return frozenset()
    members = visit.route.program.memberships.exclude(person=visit.observer_id)
    return frozenset(members.values_list("person", flat=True))


def stop_uses(
    stops: Mapping[int, models.Stop], in_use: Sequence[models.Stop]
) -> dict[int, values.StopUse]:
    """How each stop of a sheet stands that is not in use on the night."""
    keys = {stop.pk for stop in in_use}
    numbers = {stop.number for stop in in_use}
    replaced, closed = values.StopUse.REPLACED, values.StopUse.CLOSED
    return {
        number: replaced if stop.number in numbers else closed
        for number, stop in stops.items()
        if stop.pk not in keys
    }


def judged_beside(route: models.Route) -> QuerySet[models.Visit]:
    """The visits of a route that another one is judged beside."""
    not_beside = [models.VisitState.DRAFT, models.VisitState.SET_ASIDE]
    return route.visits.exclude(state__in=not_beside).order_by("night")


def load_surroundings(visit: models.Visit, now: dt.datetime) -> values.Surroundings:
    """The other nights are those of submitted visits that are not set aside."""
    beside = judged_beside(visit.route).filter(season_year=visit.season_year)
    other_visits = beside.exclude(pk=visit.pk)
    return values.Surroundings(
        now=now,
        other_nights=tuple(other_visits.order_by("night").values_list("night", flat=True)),
        # Of people without an account no training is known.
        observer_qualified=qualified(
            training_records(visit.route.program_id), visit.observer_id, visit.night
        )
        if visit.observer.has_account
        else None,
    )


def build_case(
    reading: SheetReading, background: Background, surroundings: values.Surroundings
) -> values.Case:
    """The sunsets are there where an hour of the protocol depends on them: of an archive they are
    hundreds of thousands."""
    route, night = background.route, reading.visit.night
    stops = route.stops if needs_sunset(background.protocol) else ()
    return values.Case(
        visit=reading.visit,
        route=route,
        protocol=background.protocol,
        sky={
            stop.number: values.StopSunset(sunset=sunset_of(stop.place, night, route.time_zone))
            for stop in stops
        },
        surroundings=surroundings,
    )


def route_of(
    route: models.Route,
    stops: Mapping[int, models.Stop],
    checklist: list[models.ChecklistEntry],
    own_fields: tuple[OwnField, ...],
    uses: Mapping[int, values.StopUse] = MappingProxyType({}),
) -> values.Route:
    """`uses` are those of stops that are not in use on the night, by number."""
    program = route.program
    return values.Route(
        code=route.code,
        name=route.name,
        time_zone=program.time_zone,
        stops=tuple(
            values.Stop(
                number=number,
                name=stop.name,
                place=values.Place(latitude=stop.place.y, longitude=stop.place.x),
                use=uses.get(number, values.StopUse.IN_USE),
            )
            for number, stop in stops.items()
        ),
        checklist=tuple(_checklist_species(entry) for entry in checklist),
        temperature_unit=values.TemperatureUnit(program.temperature_unit),
        distance_unit=values.DistanceUnit(program.distance_unit),
        own_fields=own_fields,
    )


def _checklist_species(entry: models.ChecklistEntry) -> values.ChecklistSpecies:
    return values.ChecklistSpecies(
        code=entry.species.code,
        common_name=entry.species.name,
        scientific_name=entry.species.scientific_name,
        season=entry.calling_season,
    )


def species_catalog(species: Mapping[str, models.Species]) -> dict[str, str]:
    """Species codes by casefolded code, name and synonym.

    Where two species share one, a code takes precedence over a name, and a current name over a
    synonym. A synonym of several species, which were split, leads to the joint entry of exactly
    these, or to the joint entry that was split and has the name, too. Otherwise it leads to none
    of them: somebody has to say which it was.
    """
    names = {synonym.casefold(): row.code for row in species.values() for synonym in row.synonyms}
    shared = shared_synonyms(species.values())
    joint_entries = [row.pk for row in species.values() if row.is_complex] if shared else []
    members = members_by_joint_entry(joint_entries)
    for name, rows in shared.items():
        del names[name]
        joint = _joint_entry_of({row.code for row in rows}, members)
        if joint is not None:
            names[name] = joint
    # A species of its own goes before one that a later catalog calls the same.
    for row in sorted(species.values(), key=lambda row: row.program_id is not None):
        names.update((name.casefold(), row.code) for name in (row.common_name, *row.names.values()))
        names[row.scientific_name.casefold()] = row.code
    names.update((code.casefold(), code) for code in species)
    return names


def shared_synonyms(species: Iterable[models.Species]) -> dict[str, list[models.Species]]:
    """The synonyms, casefolded, that several species have in common."""
    owners: dict[str, dict[int, models.Species]] = defaultdict(dict)
    for row in species:
        for synonym in row.synonyms:
            owners[synonym.casefold()][row.pk] = row
    return {name: list(rows.values()) for name, rows in owners.items() if len(rows) > 1}


def split_names(species: Iterable[models.Species]) -> dict[str, list[str]]:
    """Those synonyms with the names of their species."""
    return {
        synonym: sorted(row.name for row in rows)
        for synonym, rows in shared_synonyms(species).items()
    }


def _joint_entry_of(codes: set[str], members: Mapping[str, frozenset[str]]) -> str | None:
    """The joint entry that species of the same former name stand for."""
    for joint, of_joint in members.items():
        others = codes - {joint}
        if others == of_joint or (joint in codes and others <= of_joint):
            return joint
    return None


def training_records(program_id: int) -> tuple[TrainingRecord, ...]:
    """The recorded training of all members of a program."""
    trained = Membership.objects.filter(program=program_id, trained_on__isnull=False)
    return tuple(trained.values_list("person_id", "trained_on", "trained_until"))


def qualified(training: Sequence[TrainingRecord], person_id: int, night: dt.date) -> bool | None:
    """Whether the person's training was valid on the night.

    None when the program records no training at all.
    """
    if not training:
        return None
    return any(
        person == person_id and includes(first, last, night) for person, first, last in training
    )
