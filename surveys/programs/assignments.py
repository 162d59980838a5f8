"""Who surveys which route in which season year."""

import datetime as dt
from collections import Counter, defaultdict
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, Q
from django.shortcuts import get_object_or_404
from django.utils import timezone

from accounts.access import (
    PERMISSIONS,
    Permission,
    require,
)
from accounts.models import Membership
from surveys.language import said
from surveys.models import Assignment, Program, ProtocolVersion, Route
from surveys.programs.in_force import version_in_force
from surveys.protocol.seasons import season_year
from surveys.protocol.values import MonthDay

SURVEYING_ROLES = [role for role, allowed in PERMISSIONS.items() if Permission.SURVEY in allowed]
YEARS_AHEAD = 2


@dataclass(frozen=True, kw_only=True)
class RouteAssignments:
    """One route of a season year, with the assignments of its observers."""

    route: Route
    assignments: tuple[Assignment, ...]


def today_of(program: Program) -> dt.date:
    return timezone.now().astimezone(ZoneInfo(program.time_zone)).date()


def current_season_year(program: Program, today: dt.date | None = None) -> int:
    """The season year that most active routes are in today, by their protocols."""
    today = today or today_of(program)
    active = Count("protocol__routes", filter=Q(protocol__routes__active=True))
    versions: dict[int, list[ProtocolVersion]] = defaultdict(list)
    for version in ProtocolVersion.objects.filter(protocol__program=program).annotate(
        active_routes=active
    ):
        versions[version.protocol_id].append(version)
    years: Counter[int] = Counter()
    for of_protocol in versions.values():
        version = version_in_force(of_protocol, today)
        if version is not None and version.active_routes:
            begins = MonthDay(month=version.season_begins_month, day=version.season_begins_day)
            years[season_year(today, begins)] += version.active_routes
    return years.most_common(1)[0][0] if years else today.year


def season_years(program: Program) -> list[int]:
    """Season years to choose from, newest first: those with assignments, this and the next one."""
    current = current_season_year(program)
    known = Assignment.objects.filter(route__program=program).values_list("season_year", flat=True)
    return sorted({*known.distinct(), current, current + 1}, reverse=True)


def observers_of(program: Program) -> list[Membership]:
    """Active members who may survey, by name."""
    return list(
        program.memberships.select_related("person")
        .filter(active=True, role__in=SURVEYING_ROLES)
        .order_by("person__name", "pk")
    )


def surveyors_of(program: Program, year: int) -> dict[int, list[Membership]]:
    """The members assigned to each route in a season year, by name; those who have left or no
    longer survey are among them (`covers`)."""
    rows = list(
        Assignment.objects.filter(route__program=program, season_year=year).values_list(
            "route_id", "observer_id"
        )
    )
    members = {
        member.person_id: member
        for member in program.memberships.select_related("person").filter(
            person__in={observer for _, observer in rows}
        )
    }
    surveyors: dict[int, list[Membership]] = defaultdict(list)
    for route, observer in rows:
        if observer in members:
            surveyors[route].append(members[observer])
    for of_route in surveyors.values():
        of_route.sort(key=lambda member: (member.person.name, member.pk))
    return dict(surveyors)


def covers(member: Membership) -> bool:
    """Whether a route that is assigned to this member has somebody to survey it."""
    return member.active and member.role in SURVEYING_ROLES and member.person.has_account


def assignments_of(program: Program, year: int) -> list[RouteAssignments]:
    """The active routes, and inactive ones that are still assigned, by code."""
    assigned: dict[int, list[Assignment]] = {}
    rows = (
        Assignment.objects.select_related("observer")
        .filter(route__program=program, season_year=year)
        .order_by("observer__name", "pk")
    )
    for row in rows:
        assigned.setdefault(row.route_id, []).append(row)
    return [
        RouteAssignments(route=route, assignments=tuple(assigned.get(route.pk, ())))
        for route in program.routes.order_by("code")
        if route.active or route.pk in assigned
    ]


def _check_year(program: Program, year: int) -> None:
    latest = current_season_year(program) + YEARS_AHEAD
    if not 1900 <= year <= latest:
        raise ValidationError(
            {"season_year": said("Choose a season year up to {latest}.", latest=latest)}
        )


def _surveying_member(member: Membership, person_id: int) -> Membership:
    membership = get_object_or_404(
        member.program.memberships.select_related("person"), person_id=person_id
    )
    if not membership.active:
        raise ValidationError(
            {
                "observer": said(
                    "{person_name} is no longer active in this program.",
                    person_name=membership.person.name,
                )
            }
        )
    if membership.role not in SURVEYING_ROLES:
        raise ValidationError(
            {
                "observer": said(
                    "{person_name} ({role}) cannot enter visits. Change the role first.",
                    person_name=membership.person.name,
                    role=membership.get_role_display().lower(),
                )
            }
        )
    return membership


@transaction.atomic
def assign(member: Membership, *, route_id: int, observer_id: int, season_year: int) -> Assignment:
    """Assign a route to a person for a season year. Doing it twice changes nothing."""
    require(member, Permission.MANAGE)
    route = get_object_or_404(member.program.routes, pk=route_id)
    if not route.active:
        raise ValidationError(
            {"route": said("Route {route_code} is not active.", route_code=route.code)}
        )
    observer = _surveying_member(member, observer_id)
    _check_year(member.program, season_year)
    assignment, _ = Assignment.objects.get_or_create(
        route=route, observer=observer.person, season_year=season_year
    )
    return assignment


def unassign(member: Membership, assignment_id: int) -> Assignment:
    """Take a route from an observer. Visits that were made stay theirs."""
    require(member, Permission.MANAGE)
    assignment = get_object_or_404(
        Assignment.objects.select_related("route", "observer"),
        route__program=member.program,
        pk=assignment_id,
    )
    gone = assignment.pk
    assignment.delete()
    assignment.pk = gone
    return assignment


@transaction.atomic
def repeat_assignments(member: Membership, *, season_year: int) -> int:
    """Assign every active route as in the season year before, to those who still survey.

    Returns how many assignments were added.
    """
    require(member, Permission.MANAGE)
    _check_year(member.program, season_year)
    observers = {observer.person_id for observer in observers_of(member.program)}
    rows = Assignment.objects.filter(
        route__program=member.program, route__active=True, observer__in=observers
    )
    assigned = set(rows.filter(season_year=season_year).values_list("route_id", "observer_id"))
    before = set(rows.filter(season_year=season_year - 1).values_list("route_id", "observer_id"))
    added = Assignment.objects.bulk_create(
        [
            Assignment(route_id=route, observer_id=observer, season_year=season_year)
            for route, observer in sorted(before - assigned)
        ],
        ignore_conflicts=True,
    )
    return len(added)
