"""A program's beginning, its facts, and the command that makes a real one."""

import re

import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.urls import resolve

from accounts.models import (
    Invitation,
    Role,
)
from surveys.models import (
    CallingRegion,
    Program,
    Species,
)
from surveys.programs.setting_up import (
    RESERVED_SLUGS,
    change_facts,
    standing,
)
from tests.support.builders import (
    make_accepted_visit,
    make_checklist,
    make_route,
)

pytestmark = pytest.mark.django_db

OPTIONS = {
    "time_zone": "Europe/Berlin",
    "coordinator_email": "first@example.org",
    "site_url": "https://surveys.example.org",
}


def facts(program, **changes):
    names = (
        "name", "region", "country_code", "time_zone", "temperature_unit", "distance_unit",
        "contact_email", "clock_style", "date_order",
        "emergency_number", "emergency_contact",
    )  # fmt: skip
    now = {name: getattr(program, name) for name in names}
    now |= {"calling_region": program.calling_region, "local_rules": program.local_rules}
    return {**now, **changes}


class TestCommand:
    def test_it_makes_a_program_and_prints_a_link_that_works(self, client, capsys):
        call_command("start_program", "Harrowmere calling survey", **OPTIONS)
        said = capsys.readouterr().out
        program = Program.objects.get(slug="harrowmere-calling-survey")
        assert program.time_zone == "Europe/Berlin"
        assert program.contact_email == "", "nobody asked to make an address public"
        assert Species.objects.exists()
        invitation = Invitation.objects.get(program=program)
        assert (invitation.role, invitation.email) == (Role.COORDINATOR, "first@example.org")
        link = re.search(r"https://surveys\.example\.org(/invitation/\S+)", said)[1]
        page = client.get(link)
        assert page.status_code == 200
        assert "Harrowmere calling survey" in page.content.decode()

    @pytest.mark.parametrize(
        ("units", "style"),
        [
            ({"temperatures": "F", "distances": "mi"}, ("12", "mdy")),
            ({"temperatures": "C", "distances": "km"}, ("24", "dmy")),
        ],
    )
    def test_dates_and_clocks_as_people_with_these_units_write_them(self, units, style, capsys):
        call_command("start_program", "Harrowmere", **{**OPTIONS, **units})
        program = Program.objects.get()
        assert (program.clock_style, program.date_order) == style

    def test_it_begins_in_a_calling_region(self, capsys):
        call_command("start_program", "Harrowmere", calling_region="northeast", **OPTIONS)
        assert Program.objects.get().calling_region.name == "Northeast and Mid-Atlantic"

    def test_its_country_is_asked_for(self):
        call_command("start_program", "Harrowmere", country="de", **OPTIONS)
        assert Program.objects.get().country_code == "DE"

    def test_a_public_contact_is_asked_for(self, capsys):
        call_command("start_program", "Harrowmere", contact_email="Office@example.org", **OPTIONS)
        assert "Contact shown in publications: office@example.org" in capsys.readouterr().out
        assert Program.objects.get().contact_email == "office@example.org"

    @pytest.mark.parametrize(
        ("changes", "said"),
        [
            ({"contact_email": "nobody"}, "contact email"),
            ({"time_zone": "Europe/Nowhere"}, "is not a time zone name"),
            ({"slug": "api"}, "is reserved"),
            ({"country": "xx"}, "is not a country code"),
            ({"coordinator_email": "nobody"}, "email"),
            ({"site_url": "surveys.example.org"}, "begins with http"),
            ({"calling_region": "atlantis"}, "choose one of .*upper-midwest"),
        ],
    )
    def test_bad_options_are_said_and_nothing_is_made(self, changes, said):
        with pytest.raises(CommandError, match=said):
            call_command("start_program", "Harrowmere", **{**OPTIONS, **changes})
        assert not Program.objects.exists()
        assert not Species.objects.exists()


def test_the_reserved_words_are_those_of_the_addresses():
    """No program may sit where another page is."""
    for path in (
        "/guide/",
        "/theme",
        "/healthz",
        "/readyz",
        "/metrics",
        "/status",
        "/accounts/login/",
        "/invitation/x",
    ):
        assert resolve(path)
        assert path.split("/")[1] in RESERVED_SLUGS


def test_facts_change(coordinator):
    program = change_facts(
        coordinator, **facts(coordinator.program, time_zone="UTC", local_rules="Ring first.")
    )
    program.refresh_from_db()
    assert (program.time_zone, program.local_rules) == ("UTC", "Ring first.")


def test_another_calling_region_leaves_the_checklist_as_it_is(coordinator):
    make_checklist(coordinator.program)
    before = list(coordinator.program.checklist.values())
    region = CallingRegion.objects.create(code="marshes", name="Marshes")
    program = change_facts(coordinator, **facts(coordinator.program, calling_region=region))
    program.refresh_from_db()
    assert program.calling_region == region
    assert list(program.checklist.values()) == before


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"name": ""}, "name"),
        ({"time_zone": "Mars/Olympus"}, "time_zone"),
        ({"contact_email": "nobody"}, "contact_email"),
        ({"distance_unit": "ell"}, "distance_unit"),
        ({"country_code": "XX"}, "country_code"),
        ({"clock_style": "13"}, "clock_style"),
        ({"date_order": "ydm"}, "date_order"),
    ],
)
def test_bad_facts_are_said_by_field(coordinator, changes, field):
    with pytest.raises(ValidationError) as refusal:
        change_facts(coordinator, **facts(coordinator.program, **changes))
    assert field in refusal.value.message_dict


def test_the_zone_stands_fast_once_visits_were_entered(coordinator, observer):
    make_accepted_visit(make_route(coordinator.program), observer.person)
    with pytest.raises(ValidationError) as refusal:
        change_facts(coordinator, **facts(coordinator.program, time_zone="Europe/Berlin"))
    assert "Visits have been entered in America/Chicago" in str(refusal.value.message_dict)


def test_standing_counts_what_there_is(program, observer):
    make_route(program)
    make_route(program, stops=0)
    stands = standing(program, 2026)
    assert (stands.routes, stands.routes_without_stops, stands.observers) == (2, 1, 1)
    assert (stands.species, stands.assigned_routes) == (0, 0)
