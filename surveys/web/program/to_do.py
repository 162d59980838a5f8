"""What is still to be set up before observers can survey, each with the way there."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse

from accounts.access import Permission, may
from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import Program, Visit
from surveys.programs.assignments import current_season_year
from surveys.programs.setting_up import SetUpStatus, standing
from surveys.visits.queue import STATES


@dataclass(frozen=True, kw_only=True)
class ToDo:
    """One thing that is missing before observers can survey."""

    text: str
    url: str
    label: str


def missing_for_the_first_visit(member: Membership) -> list[ToDo]:
    """What is still to be set up, until the first visit is submitted; for those who may."""
    program = member.program
    if Visit.objects.filter(route__program=program, state__in=STATES).exists():
        return []
    if not may(member, Permission.MANAGE):
        return []
    year = current_season_year(program)
    return to_do(program, standing(program, year), year)


def to_do(program: Program, stands: SetUpStatus, year: int) -> list[ToDo]:
    checks = (
        (
            not stands.protocols,
            gettext("There is no protocol yet. It sets the survey windows and all limits."),
            "program_protocols",
            gettext("Set up a protocol"),
        ),
        (
            not stands.species and program.calling_region is None,
            gettext(
                "No calling region is chosen. With one, the checklist can begin with its species."
            ),
            "program_facts",
            gettext("Choose a calling region"),
        ),
        (
            not stands.species,
            gettext("The checklist is empty. Silence counts as zero only for species on it."),
            "program_checklist",
            gettext("Choose species"),
        ),
        (
            bool(stands.protocols) and not stands.routes,
            gettext("There are no routes yet."),
            "program_routes",
            gettext("Add a route"),
        ),
        (
            bool(stands.routes_without_stops),
            said(
                "Routes without a stop: {routes_without_stops}.",
                routes_without_stops=stands.routes_without_stops,
            ),
            "program_routes",
            gettext("See the routes"),
        ),
        (
            not stands.observers,
            gettext("No observer has joined yet."),
            "people_invite",
            gettext("Invite someone"),
        ),
        (
            stands.routes > stands.assigned_routes,
            said(
                "Routes without an observer in {year}: {stands}.",
                year=year,
                stands=stands.routes - stands.assigned_routes,
            ),
            "program_assignments",
            gettext("Assign observers"),
        ),
    )
    return [
        ToDo(text=text, url=reverse(f"web:{name}", args=[program.slug]), label=label)
        for missing, text, name, label in checks
        if missing
    ]
