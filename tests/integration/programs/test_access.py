"""Every verb that sets a program up, against every role and another program's rows."""

import datetime as dt
from operator import itemgetter

import pytest
from django.core.exceptions import PermissionDenied
from django.http import Http404

from accounts.models import Role
from surveys.models import Assignment, CallingRegion
from surveys.programs import (
    assignments,
    checklist,
    protocols,
    regional,
    routes,
    setting_up,
    stops,
)
from surveys.programs.versions import protocol_values
from surveys.protocol.values import Place
from tests.support.builders import (
    make_checklist,
    make_member,
    make_program,
    make_route,
    make_species,
    make_version,
)
from tests.support.for_each import for_each

pytestmark = pytest.mark.django_db
DAY = dt.date(2026, 5, 1)
PLACE = Place(latitude=43.09, longitude=-89.40)
FACTS = stops.StopFacts(name="By the culvert")


@pytest.fixture
def rows(program, observer):
    version = make_version(program)
    route = make_route(program, version=version)
    make_checklist(program)
    return {
        "route": route,
        "stop": route.stops.first(),
        "version": version,
        "entry": program.checklist.get(),
        "observer": observer,
        "assignment": Assignment.objects.create(
            route=route, observer=observer.person, season_year=2026
        ),
    }


def save_route(member, rows):
    return routes.save_route(
        member,
        route_id=rows["route"].pk,
        code="R900",
        name="Alder Fen",
        region="",
        protocol_id=rows["version"].protocol_id,
        access_notes="",
        active=True,
    )


def with_limits(verb, key):
    def call(member, rows):
        target = rows["version"].protocol_id if key == "protocol" else rows["version"].pk
        return verb(member, target, limits=protocol_values(rows["version"]), in_force_from=DAY)

    return call


SCOPED = {
    "assign": lambda m, rows: assignments.assign(
        m, route_id=rows["route"].pk, observer_id=rows["observer"].person_id, season_year=2026
    ),
    "unassign": lambda m, rows: assignments.unassign(m, rows["assignment"].pk),
    "save_route": save_route,
    "add_stop": lambda m, rows: stops.add_stop(
        m, rows["route"].pk, number=4, place=PLACE, active_from=DAY, facts=FACTS
    ),
    "change_stop": lambda m, rows: stops.change_stop(
        m, rows["stop"].pk, number=1, place=PLACE, active_from=DAY, facts=FACTS
    ),
    "close_stop": lambda m, rows: stops.close_stop(
        m, rows["stop"].pk, last_night=DAY, reason="No safe place to park."
    ),
    "move_stop": lambda m, rows: stops.move_stop(
        m, rows["stop"].pk, first_night=DAY, place=PLACE, reason="New road.", facts=FACTS
    ),
    "add_version": with_limits(protocols.add_version, "protocol"),
    "change_version": with_limits(protocols.change_version, "version"),
    "change_entry": lambda m, rows: checklist.change_entry(
        m, rows["entry"].pk, checklist.Listing()
    ),
    "take_off": lambda m, rows: checklist.take_off(m, rows["entry"].pk, listed_until=DAY),
    "move_entry": lambda m, rows: checklist.move_entry(m, rows["entry"].pk, up=True),
}


def change_facts(member, rows):
    program = member.program
    names = (
        "name", "region", "country_code", "time_zone", "temperature_unit", "distance_unit",
        "contact_email", "clock_style", "date_order",
        "emergency_number", "emergency_contact",
    )  # fmt: skip
    facts = {name: getattr(program, name) for name in (*names, "calling_region")}
    return setting_up.change_facts(member, local_rules="Ring the ranger first.", **facts)


def add_regional_species(member, rows):
    species = make_species("Anaxyrus americanus")
    region, _ = CallingRegion.objects.get_or_create(code="marshes", defaults={"name": "Marshes"})
    region.species.get_or_create(species=species, mark="sure")
    member.program.calling_region = region
    member.program.save()
    return regional.add_regional_species(member, [species.code], listed_from=None)


OWN = {
    "change_facts": change_facts,
    "repeat_assignments": lambda m, rows: assignments.repeat_assignments(m, season_year=2027),
    "start_protocol": lambda m, rows: protocols.start_protocol(
        m,
        limits=protocol_values(make_version(make_program())),
        in_force_from=DAY,
    ),
    "add_species": lambda m, rows: checklist.add_species(
        m, make_species("Anaxyrus americanus").code, checklist.Listing()
    ),
    "add_regional_species": add_regional_species,
}


@pytest.mark.parametrize("verb", (SCOPED | OWN).values(), ids=SCOPED | OWN)
def test_coordinators_may(verb, coordinator, rows):
    assert verb(coordinator, rows) is not None


@pytest.fixture
def others(program):
    return [make_member(program, role) for role in (Role.OBSERVER, Role.PARTNER)]


@pytest.fixture
def stranger():
    return make_member(make_program(), Role.COORDINATOR)


@for_each("verb", (SCOPED | OWN).items(), name_of=itemgetter(0))
def test_others_may_not(verb, others, rows):
    for member in others:
        with pytest.raises(PermissionDenied, match="set up the program"):
            verb[1](member, rows)


@for_each("verb", SCOPED.items(), name_of=itemgetter(0))
def test_rows_of_another_program_do_not_exist(verb, stranger, rows):
    with pytest.raises(Http404):
        verb[1](stranger, rows)


def test_a_protocol_of_another_program_is_not_taken(coordinator, rows):
    foreign = make_version(make_program())
    with pytest.raises(Http404):
        save_route(coordinator, rows | {"version": foreign})


def test_an_observer_of_another_program_is_not_assigned(coordinator, rows):
    stranger = make_member(make_program())
    with pytest.raises(Http404):
        assignments.assign(
            coordinator,
            route_id=rows["route"].pk,
            observer_id=stranger.person_id,
            season_year=2026,
        )
