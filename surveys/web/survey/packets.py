"""The route packet: what a phone takes along to survey a route with no network.

Plain values have the form of surveys/protocol/plain.py. `nights` leads from dates to
what differs by night; species codes there are in the order in which they are likely.
"""

import datetime as dt
from collections import Counter
from collections.abc import Iterator
from typing import Any

from django.forms import model_to_dict

from accounts.models import Membership
from surveys.check_ins.contacts import usable_contacts
from surveys.learning.phone import practice_for_phones
from surveys.models import (
    CallIndex,
    ChecklistEntry,
    LookAlikes,
    OwnField,
    Program,
    ProtocolVersion,
    Route,
    Species,
    Stop,
    Visit,
)
from surveys.programs.in_force import (
    entries_listed,
    stops_in_use,
    version_in_force,
)
from surveys.programs.places import place_of
from surveys.programs.versions import units_of
from surveys.protocol.hours import (
    earliest_start,
    latest_end,
    route_hours,
)
from surveys.protocol.limits.words import limits_in_words
from surveys.protocol.nights import night_of
from surveys.protocol.plain import to_plain
from surveys.protocol.seasons import (
    in_days,
    season_year,
    window_of,
)
from surveys.protocol.values import (
    Protocol,
)
from surveys.protocol.weather import plain_number
from surveys.visits.access import (
    EDITABLE,
    HANDED_IN,
)
from surveys.visits.coming_back import came_back
from surveys.visits.companions import companions_of
from surveys.visits.loading import (
    judged_beside,
    protocol_values,
    qualified,
    training_records,
)
from surveys.visits.visit_ids import closed_visits, visit_id
from surveys.web.calls.page import references_for_phones
from surveys.web.calls.shown import calls_for_phones, is_high_voice
from surveys.web.survey.ground import ground_of
from surveys.web.survey.skies import NightSky, skies_of

# A visit of last night may still be under way after midnight, or be finished by day.
NIGHTS_BEFORE = 1
NIGHTS_AHEAD = 21
# A visit that is still open may have taken a stop along that has been closed since.
_CLOSED_DAYS = 60
# Calls of other years count most when they were heard about this time of the year.
_SAME_TIME_DAYS = 21
_YEAR_DAYS = 365


def route_packet(member: Membership, code: str, now: dt.datetime) -> dict[str, Any]:
    """The packet of one route of the member's program. Raises Route.DoesNotExist."""
    program = member.program
    route = program.routes.select_related("protocol").get(code=code, active=True)
    tonight = night_of(now, program.time_zone)
    versions = {
        version: protocol_values(version)
        for version in route.protocol.versions.prefetch_related("windows").select_related(
            "protocol"
        )
    }
    stops = list(route.stops.order_by("number"))
    entries = list(
        program.checklist.select_related("species")
        .prefetch_related("species__members")
        .order_by("order", "pk")
    )
    nights = _nights(member, route, tonight, stops, entries, versions)
    used = {night["version"] for night in nights.values()}
    look_alikes = _look_alikes(entries)
    references = references_for_phones(member, set(_heard_codes(entries, look_alikes)))
    return {
        "made_at": to_plain(now),
        "tonight": tonight.isoformat(),
        "person": {"id": member.person_id, "name": member.person.name},
        "contacts": [
            [row.pk, row.member.name if row.member else row.name] for row in usable_contacts(member)
        ],
        "companions": [
            [str(key), name]
            for key, name in companions_of(program, observer_id=member.person_id).items()
        ],
        "program": _program(program),
        "route": _route(route, program, stops),
        "land": ground_of([place_of(stop.place) for stop in stops]),
        "versions": {
            str(version.pk): _version(version, protocol, program)
            for version, protocol in versions.items()
            if version.pk in used
        },
        "species": [_species(entry) for entry in entries],
        "others": _others(program, entries),
        "look_alikes": look_alikes,
        "calls": calls_for_phones(_heard_codes(entries, look_alikes)),
        "references": references,
        "practice": practice_for_phones(
            member, [entry.species for entry in entries], {one["id"] for one in references}
        ),
        "own_fields": [_own_field(field) for field in program.own_fields.order_by("order", "pk")],
        "nights": nights,
        "surveyed": _surveyed(route, tonight),
        "visits": _open_visits(member, route),
    }


def _program(program: Program) -> dict[str, Any]:
    return {
        "slug": program.slug,
        "name": program.name,
        "local_rules": program.local_rules,
        "emergency_number": program.emergency_number,
        "emergency_contact": program.emergency_contact,
    }


def _route(route: Route, program: Program, stops: list[Stop]) -> dict[str, Any]:
    return {
        "code": route.code,
        "name": route.name,
        "region": route.region,
        "time_zone": program.time_zone,
        "temperature_unit": program.temperature_unit,
        "rain_unit": program.rain_unit.value,
        "distance_unit": program.distance_unit,
        "access_notes": route.access_notes,
        "stops": [
            {
                "id": stop.pk,
                "number": stop.number,
                "name": stop.name,
                "notes": stop.notes,
                "road": stop.road,
                "county": stop.county,
                "place": {"latitude": stop.place.y, "longitude": stop.place.x},
                "from": to_plain(stop.active_from),
                "until": to_plain(stop.active_until),
            }
            for stop in stops
        ],
    }


def _version(version: ProtocolVersion, protocol: Protocol, program: Program) -> dict[str, Any]:
    return {
        "name": str(version),
        "protocol": to_plain(protocol),
        "limits": limits_in_words(protocol, units_of(program)),
    }


def _nights(
    member: Membership,
    route: Route,
    tonight: dt.date,
    stops: list[Stop],
    entries: list[ChecklistEntry],
    versions: dict[ProtocolVersion, Protocol],
) -> dict[str, Any]:
    """What differs by night, for the nights on which a version of the protocol is in force."""
    zone = member.program.time_zone
    heard = _heard_on(route)
    closed = closed_visits(member, route)
    training = training_records(member.program_id)
    coming = [
        tonight + dt.timedelta(days=ahead) for ahead in range(-NIGHTS_BEFORE, NIGHTS_AHEAD + 1)
    ]
    in_force = {
        night: version for night in coming if (version := version_in_force(versions, night))
    }
    in_use = {night: stops_in_use(stops, night) for night in in_force}
    closed_since = tonight - dt.timedelta(days=_CLOSED_DAYS)
    left = [stop for stop in stops if stop.active_until and stop.active_until >= closed_since]
    there = {
        night: [*used, *(stop for stop in left if stop not in used)]
        for night, used in in_use.items()
    }
    nights = {}
    for night, sky in _skies(stops, there, zone).items():
        version = in_force[night]
        protocol = versions[version]
        nights[night.isoformat()] = {
            "version": version.pk,
            "visit": str(visit_id(member, route, night, closed)),
            "species": _likely(entries_listed(entries, night), heard, night),
            "season_year": season_year(night, protocol.season_year_begins),
            "qualified": qualified(training, member.person_id, night),
            **_night(there[night], len(in_use[night]), sky, protocol, night, zone),
        }
    return nights


def _skies(
    stops: list[Stop], there: dict[dt.date, list[Stop]], zone: str
) -> dict[dt.date, NightSky]:
    places = {stop: place_of(stop.place) for stop in stops}
    return skies_of(
        {night: tuple(places[stop] for stop in on_it) for night, on_it in there.items()}, zone
    )


def _night(
    stops: list[Stop], used: int, sky: NightSky, protocol: Protocol, night: dt.date, zone: str
) -> dict[str, Any]:
    """`stops` are the `used` ones of that night, by number, and then those that are closed, by
    id."""
    window = window_of(night, protocol)
    hours = [
        {
            "sky": to_plain(over),
            "earliest_start": to_plain(earliest_start(protocol, over)),
            "latest_end": to_plain(latest_end(protocol, over, night, zone)),
        }
        for over in sky.stops
    ]
    return {
        "window": window.name if window else None,
        "moon": to_plain(sky.moon) if sky.moon else None,
        "hours": to_plain(route_hours(protocol, sky.stops[:used], night, zone)),
        "stops": {str(stop.number): at for stop, at in zip(stops[:used], hours, strict=False)},
        "closed": {str(stop.pk): at for stop, at in zip(stops[used:], hours[used:], strict=True)},
    }


def _species(entry: ChecklistEntry) -> dict[str, Any]:
    season = entry.calling_season
    return {
        **model_to_dict(entry.species, fields=("code", "scientific_name")),
        "common_name": entry.species.name,
        "call": entry.species.told_call,
        "note": entry.species.told_note,
        "is_high": is_high_voice(entry.species),
        "members": [member.code for member in entry.species.members.all()],
        "season": to_plain(season) if season else None,
    }


def _own_field(field: OwnField) -> dict[str, Any]:
    """Asked on nights `from` to `until`; a missing value is a question from the night `required`,
    if that is not null."""
    bounds = {"low": field.low, "high": field.high}
    return {
        **model_to_dict(field, fields=("key", "label", "help", "unit", "kind", "per", "choices")),
        **{name: None if bound is None else plain_number(bound) for name, bound in bounds.items()},
        "from": to_plain(field.asked_from) or "",
        "until": to_plain(field.asked_until),
        "required": to_plain(field.required_from),
    }


def _others(program: Program, entries: list[ChecklistEntry]) -> list[list[str]]:
    """The rest of the species that the program knows, for what nobody expected: code, common and
    scientific name."""
    listed = [entry.species_id for entry in entries]
    rest = Species.objects.known_to(program).exclude(pk__in=listed).exclude(is_silent=True)
    return [[row.code, row.name, row.scientific_name] for row in rest.order_by("common_name")]


def _look_alikes(entries: list[ChecklistEntry]) -> list[dict[str, Any]]:
    """Groups that a listed species belongs to, or a member of a joint entry. Members are codes;
    their names are among `species` and `others`."""
    heard_as = {entry.species_id for entry in entries}
    heard_as |= {member.pk for entry in entries for member in entry.species.members.all()}
    groups = LookAlikes.objects.filter(members__in=heard_as).distinct()
    return [
        {
            "name": str(group),
            "how": group.told_how,
            "other_sounds": group.told_sounds,
            "members": [member.code for member in group.members.all()],
        }
        for group in groups.prefetch_related("members")
    ]


def _heard_codes(entries: list[ChecklistEntry], look_alikes: list[dict[str, Any]]) -> Iterator[str]:
    """Listed species, members of joint entries, and what sounds like them."""
    for entry in entries:
        yield entry.species.code
        yield from (member.code for member in entry.species.members.all())
    for group in look_alikes:
        yield from group["members"]


def _heard_on(route: Route) -> list[tuple[str, dt.date]]:
    """(species code, night) of every night on which a species was heard on the route."""
    rows = CallIndex.objects.filter(
        period__visit__route=route, period__visit__state__in=HANDED_IN, index__gte=1
    )
    return list(rows.values_list("species__code", "period__visit__night").distinct())


def _likely(
    entries: list[ChecklistEntry], heard: list[tuple[str, dt.date]], night: dt.date
) -> list[str]:
    """In calling season first, then most often heard here about this time of the year,
    then most often heard here at all, then as the checklist has it."""
    ever = Counter(code for code, _ in heard)
    about_now = Counter(code for code, other in heard if _same_time(other, night))

    def rank(entry: ChecklistEntry) -> tuple[bool, int, int]:
        season = entry.calling_season
        code = entry.species.code
        calling = season is None or in_days(night, *season)
        return not calling, -about_now[code], -ever[code]

    return [entry.species.code for entry in sorted(entries, key=rank)]


def _same_time(night: dt.date, other: dt.date) -> bool:
    """Whether two nights lie at about the same time of their years."""
    apart = abs(night.timetuple().tm_yday - other.timetuple().tm_yday)
    return min(apart, _YEAR_DAYS - apart) <= _SAME_TIME_DAYS


def _surveyed(route: Route, tonight: dt.date) -> list[dict[str, Any]]:
    """Visits that others are judged beside, of this season and the one before."""
    visits = judged_beside(route).filter(season_year__gte=tonight.year - 1)
    return [
        {"id": str(key), "night": night.isoformat(), "season_year": year}
        for key, night, year in visits.values_list("pk", "night", "season_year")
    ]


def _open_visits(member: Membership, route: Route) -> list[dict[str, Any]]:
    """Own visits that are still being filled, to go on with on the phone."""
    own = Visit.objects.filter(route=route, observer=member.person, state__in=EDITABLE)
    visits = list(own.order_by("night"))
    why = came_back(visits)
    return [
        {
            "id": str(visit.pk),
            "night": visit.night.isoformat(),
            "protocol_version": visit.protocol_version_id,
            "state": visit.state,
            "sent_back_note": why[visit.pk].note,
            "withdrawn": why[visit.pk].is_withdrawn,
            "revision": visit.revision,
            "stops": visit.carried_stops,
            "cells": visit.cells,
        }
        for visit in visits
    ]
