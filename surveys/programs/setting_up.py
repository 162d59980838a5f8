"""A program's beginning and its facts."""

from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Exists, OuterRef

from accounts.access import (
    Permission,
    require,
)
from accounts.edit_conflicts import (
    Facts,
    Seen,
    check_seen,
)
from accounts.invitations import (
    IssuedInvitation,
    issue,
)
from accounts.models import (
    Membership,
    Role,
)
from surveys.language import gettext, said
from surveys.models import (
    CallingRegion,
    Program,
    Stop,
    Visit,
)
from surveys.programs.assignments import today_of
from surveys.programs.cover import SeasonPlan
from surveys.protocol.countries import countries

# The first part of addresses that do not belong to a program.
RESERVED_SLUGS = frozenset(
    {
        "accounts",
        "api",
        "calendar",
        "guide",
        "healthz",
        "invitation",
        "join",
        "media",
        "metrics",
        "published",
        "readyz",
        "reminders",
        "static",
        "status",
        "theme",
        "your-name",
    }
)


@dataclass(frozen=True, kw_only=True)
class SetUpStatus:
    """How far a program is set up: what there is of each part. People who have left are no
    observers of a route."""

    protocols: int
    routes: int
    routes_without_stops: int
    species: int
    observers: int
    assigned_routes: int


def standing(program: Program, season_year: int) -> SetUpStatus:
    routes = program.routes.filter(active=True)
    plan = SeasonPlan(program, season_year, today_of(program))
    return SetUpStatus(
        protocols=program.protocols.count(),
        routes=routes.count(),
        routes_without_stops=routes.exclude(
            Exists(Stop.objects.filter(route=OuterRef("pk"), active_until=None))
        ).count(),
        species=program.checklist.filter(listed_until=None).count(),
        observers=program.memberships.filter(active=True, role=Role.OBSERVER).count(),
        assigned_routes=sum(plan.is_assigned(route.pk) for route in routes),
    )


@transaction.atomic
def start_program(
    *,
    name: str,
    slug: str,
    time_zone: str,
    coordinator_email: str,
    coordinator_name: str = "",
    contact_email: str = "",
    region: str = "",
    country_code: str = "",
    calling_region: CallingRegion | None = None,
    temperature_unit: str = "C",
    distance_unit: str = "km",
    site_url: str,
) -> IssuedInvitation:
    """Make a program and invite its first coordinator.

    For whoever runs the installation; there is no member yet. `contact_email` is public,
    every publication shows it; the coordinator's own address is not taken for it unasked.
    Raises ValidationError with a message for each field that cannot be.
    """
    if slug in RESERVED_SLUGS:
        raise ValidationError({"slug": said("“{slug}” is reserved. Choose another.", slug=slug)})
    program = Program(
        name=name.strip(),
        slug=slug,
        region=region.strip(),
        country_code=country_code.strip().upper(),
        calling_region=calling_region,
        time_zone=time_zone,
        temperature_unit=temperature_unit,
        distance_unit=distance_unit,
        contact_email=contact_email.strip().lower(),
    )
    program.write_dates_as_usual()
    program.full_clean()
    program.save()
    return issue(
        program,
        email=coordinator_email,
        name=coordinator_name,
        role=Role.COORDINATOR,
        site_url=site_url,
        invited_by=None,
    )


def country_words(program: Program) -> str:
    """The name of the program's country."""
    return gettext(countries().get(program.country_code, "not given"))


def program_facts(program: Program) -> Facts:
    """What the form of a program's facts shows."""
    return {
        gettext("Name"): program.name,
        gettext("Region"): program.region,
        gettext("Country"): country_words(program),
        gettext("Calling region"): str(program.calling_region or ""),
        gettext("Time zone"): program.time_zone,
        gettext("Temperatures in"): program.get_temperature_unit_display(),
        gettext("Distances in"): program.get_distance_unit_display(),
        gettext("Clock times"): program.get_clock_style_display(),
        gettext("Dates"): program.get_date_order_display(),
        gettext("Contact email"): program.contact_email,
        gettext("Emergency number"): program.emergency_number,
        gettext("Emergency contact"): program.emergency_contact,
        gettext("Local rules"): program.local_rules,
    }


@transaction.atomic
def change_facts(
    member: Membership,
    *,
    name: str,
    region: str,
    country_code: str,
    calling_region: CallingRegion | None,
    time_zone: str,
    temperature_unit: str,
    distance_unit: str,
    clock_style: str,
    date_order: str,
    contact_email: str,
    emergency_number: str,
    emergency_contact: str,
    local_rules: str,
    seen: Seen | None = None,
) -> Program:
    """Change what a program says of itself. Its address (slug) stays for good, and another
    calling region changes nothing that is on the checklist.

    Raises ValidationError by field, EditConflict.
    """
    require(member, Permission.MANAGE)
    program = Program.objects.select_for_update().get(pk=member.program_id)
    check_seen(member, seen, program_facts(program), [program.events.all()])
    _check_time_zone(program, time_zone)
    program.name = name
    program.region = region
    program.country_code = country_code
    program.calling_region = calling_region
    program.time_zone = time_zone
    program.temperature_unit = temperature_unit
    program.distance_unit = distance_unit
    program.clock_style = clock_style
    program.date_order = date_order
    program.contact_email = contact_email
    program.emergency_number = emergency_number.strip()
    program.emergency_contact = emergency_contact.strip()
    program.local_rules = local_rules
    program.full_clean()
    program.save()
    return program


def _check_time_zone(program: Program, time_zone: str) -> None:
    """Clock times on sheets were typed in the zone: with another one they would mean
    other moments."""
    changed = time_zone != program.time_zone
    if changed and Visit.objects.filter(route__program=program).exists():
        raise ValidationError(
            {
                "time_zone": said(
                    "Visits have been entered in {time_zone}. With another zone their clock "
                    "times would be wrong, so the zone can no longer change.",
                    time_zone=program.time_zone,
                )
            }
        )
