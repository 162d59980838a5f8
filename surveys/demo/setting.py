"""The rows of a demo program before its first visit: protocol, routes, people."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from random import Random

from django.contrib.auth.hashers import make_password
from django.contrib.gis.geos import LineString, Point

from accounts.models import Membership, Person, Role
from surveys.demo.calendar import Season, first_night
from surveys.demo.changes import write_changes
from surveys.demo.dice import dice
from surveys.demo.land import LandRoute, LandStop
from surveys.demo.stations import write_station
from surveys.demo.story import Story
from surveys.demo.truths import People, ProgramTruth
from surveys.language import gettext
from surveys.models import (
    Assignment,
    CallingRegion,
    ChecklistEntry,
    OwnField,
    Program,
    Protocol,
    ProtocolVersion,
    Route,
    RouteChoice,
    SeasonWindow,
    Species,
    Stop,
)
from surveys.programs.versions import window_rows, write_limits
from surveys.protocol.own_fields import AskedPer, FieldKind
from surveys.protocol.values import RainUnit, TemperatureUnit, rain_unit_beside


@dataclass(frozen=True, kw_only=True)
class Setting:
    """The rows that visits hang on, by their natural keys."""

    program: Program
    versions: tuple[ProtocolVersion, ...]
    routes: Mapping[str, Route]
    people: Mapping[str, Person]


def write_setting(story: Story, people: People, seed: int) -> Setting:
    truth = story.truth
    program = Program(
        name=truth.name,
        slug=truth.slug,
        region=truth.region,
        calling_region=CallingRegion.objects.get(code=truth.calling_region),
        time_zone=truth.time_zone,
        temperature_unit=truth.temperature_unit.value,
        distance_unit=truth.distance_unit.value,
        contact_email=people.sign_ins.coordinator,
        emergency_contact="Duty phone, 555-0134",
        local_rules=truth.local_rules,
        region_weights=dict(truth.region_weights),
        weights_are=truth.weights_are,
    )
    program.write_dates_as_usual()
    program.save()
    protocol = Protocol.objects.create(program=program, name=truth.versions[0].protocol.name)
    versions = _write_versions(protocol, truth)
    _write_checklist(program, truth)
    _write_own_fields(program)
    routes = _write_routes(program, protocol, story, dice(seed, "rows", truth.slug))
    write_station(program, story, dice(seed, "station", truth.slug))
    members = _write_people(program, story, people)
    _write_assignments(story, routes, members)
    coordinator = members[people.sign_ins.coordinator]
    write_changes(program, story, coordinator, dice(seed, "changes", truth.slug))
    return Setting(program=program, versions=versions, routes=routes, people=members)


def _write_versions(protocol: Protocol, truth: ProgramTruth) -> tuple[ProtocolVersion, ...]:
    versions = []
    for entry in truth.versions:
        version = ProtocolVersion(
            protocol=protocol,
            number=entry.protocol.version,
            in_force_from=entry.in_force_from,
            source=entry.source,
        )
        write_limits(version, entry.protocol)
        version.save()
        SeasonWindow.objects.bulk_create(window_rows(version, entry.protocol))
        versions.append(version)
    return tuple(versions)


def _write_checklist(program: Program, truth: ProgramTruth) -> None:
    species = Species.objects.in_bulk([entry.code for entry in truth.species], field_name="code")
    ChecklistEntry.objects.bulk_create(
        ChecklistEntry(
            program=program,
            species=species[entry.code],
            order=order,
            calls_from_month=entry.season[0].month,
            calls_from_day=entry.season[0].day,
            calls_to_month=entry.season[1].month,
            calls_to_day=entry.season[1].day,
            sensitivity=entry.sensitivity,
        )
        for order, entry in enumerate(truth.species, start=1)
    )


def _write_own_fields(program: Program) -> None:
    inches = rain_unit_beside(TemperatureUnit(program.temperature_unit)) is RainUnit.INCHES
    OwnField.objects.create(
        program=program,
        key="water_depth",
        label=gettext("Water depth at the edge"),
        help=gettext("With the marked rod, from firm ground. Do not wade."),
        kind=FieldKind.WHOLE,
        per=AskedPer.STOP,
        unit="in" if inches else "cm",
        low=0,
        high=120 if inches else 300,
        published=True,
        order=1,
    )


def _write_routes(
    program: Program, protocol: Protocol, story: Story, rng: Random
) -> Mapping[str, Route]:
    begun = {
        route.code: _opened(story.truth, story.seasons, route.since_season)
        for route in story.routes
    }
    rows = Route.objects.bulk_create(
        Route(
            program=program,
            protocol=protocol,
            code=route.code,
            name=route.name,
            region=route.region,
            chosen=RouteChoice.RANDOM,
            line=_line(route),
            access_notes=f"Park at {route.stops[0].name}, fully off the road. "
            f"Turn around at {route.stops[-1].name}.",
        )
        for route in story.routes
    )
    routes = {row.code: row for row in rows}
    Stop.objects.bulk_create(
        _stop_row(routes[route.code], stop, begun[route.code], rng)
        for route in story.routes
        for stop in route.stops
    )
    return routes


def _opened(truth: ProgramTruth, seasons: tuple[Season, ...], since: int) -> dt.date:
    """The first night on which a route can be surveyed."""
    first = next((season for season in seasons if season.number >= since), seasons[0])
    return first_night(truth.versions[0].protocol, first)


def _line(route: LandRoute) -> LineString:
    return LineString(
        [(stop.place.longitude, stop.place.latitude) for stop in route.stops], srid=4326
    )


def _stop_row(route: Route, stop: LandStop, opened: dt.date, rng: Random) -> Stop:
    burned = stop.wetland.habitat == "grassy" and rng.random() < 0.6
    return Stop(
        route=route,
        number=stop.number,
        name=stop.name,
        road=f"{stop.name.partition(' ')[0]} Road",
        county=f"{route.region} County" if route.region else "",
        place=Point(stop.place.longitude, stop.place.latitude, srid=4326),
        active_from=opened,
        habitat=stop.wetland.habitat,
        hydroperiod=stop.wetland.hydroperiod,
        fish=stop.wetland.fish,
        last_burn=opened - dt.timedelta(days=rng.randint(30, 900)) if burned else None,
    )


def _write_people(program: Program, story: Story, people: People) -> Mapping[str, Person]:
    """People are shared by the programs; a membership belongs to one."""
    slug = story.truth.slug
    last = max(season.number for season in story.seasons)
    observers = people.observers_of(slug)
    wanted = [(p.address, p.name, Role.OBSERVER, p.takes_part(last)) for p in observers]
    for role, group in ((Role.COORDINATOR, people.coordinators), (Role.PARTNER, people.partners)):
        wanted += [(p.email, p.name, role, True) for p in group if slug in p.programs]
    password = make_password(people.password)
    known = Person.objects.in_bulk([email for email, *_ in wanted], field_name="email")
    fresh = [
        Person(email=email, name=name, password=password)
        for email, name, *_ in wanted
        if email not in known
    ]
    known |= {person.email: person for person in Person.objects.bulk_create(fresh)}
    Person.objects.keep_addresses(fresh)
    Membership.objects.bulk_create(
        Membership(program=program, person=known[email], role=role, active=active)
        for email, _, role, active in wanted
    )
    return known


def _write_assignments(
    story: Story, routes: Mapping[str, Route], members: Mapping[str, Person]
) -> None:
    Assignment.objects.bulk_create(
        Assignment(route=routes[code], observer=members[email], season_year=year)
        for (code, year), email in story.roster.items()
    )
