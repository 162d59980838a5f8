"""Who surveys which route in which season year."""

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, Q
from django.shortcuts import get_object_or_404
from django.utils import timezone

from accounts.access import Permission, require
from accounts.edit_conflicts import Facts, Seen, check_seen
from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import Assignment, Program, ProtocolVersion, Route, Substitute
from surveys.programs.cover import SURVEYING_ROLES
from surveys.programs.in_force import version_in_force
from surveys.programs.schedule import DueWindow, schedule
from surveys.protocol.seasons import season_year
from surveys.protocol.values import MonthDay

YEARS_AHEAD = 2
# By then every survey of the night is over, and a coordinator plans the next one.
_MORNING = dt.time(6)


@dataclass(frozen=True, kw_only=True)
class RouteAssignments:
    """One route of a season year, with the assignments of its observers."""

    route: Route
    assignments: tuple[Assignment, ...]


def today_of(program: Program) -> dt.date:
    return timezone.now().astimezone(ZoneInfo(program.time_zone)).date()


def tonight_of(program: Program) -> dt.date:
    """The night that goes on, or the next one: what a form offers that asks for a night."""
    local = timezone.now().astimezone(ZoneInfo(program.time_zone))
    return local.date() - (dt.timedelta(days=1) if local.time() < _MORNING else dt.timedelta(0))


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


def surveying_member(member: Membership, person_id: int) -> Membership:
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


def due_windows(route: Route, year: int) -> tuple[DueWindow, ...]:
    """The windows of a season year in which a visit to the route is due, in order of opening."""
    return schedule(route.program, [route]).due(route.pk, year)


def assigned_facts(route: Route, year: int) -> Facts:
    """What a form that plans a route shows of it: who surveys it in which windows, and who
    stands in for whom."""
    rows = (
        Assignment.objects.filter(route=route, season_year=year)
        .select_related("observer")
        .prefetch_related("substitutes__person")
        .order_by("observer__name", "pk")
    )
    return {
        said("Observers of {route}, {year}", route=route.code, year=year): "; ".join(
            [
                *(f"{row.observer.name} ({windows_in_words(row.windows)})" for row in rows),
                *(
                    said(
                        "{substitute} for {observer} ({window})",
                        substitute=stand_in.person.name,
                        observer=row.observer.name,
                        window=stand_in.window,
                    )
                    for row in rows
                    for stand_in in row.substitutes.all()
                ),
            ]
        )
    }


def windows_in_words(windows: Sequence[str]) -> str:
    return gettext(", ").join(windows) if windows else gettext("whole season")


def check_assigned(member: Membership, seen: Seen | None, route: Route, year: int) -> None:
    """Raise EditConflict when others planned the route since a form showed it. The caller has
    locked the route."""
    events = [
        Assignment.pgh_event_model.objects.filter(route=route, season_year=year),
        Substitute.pgh_event_model.objects.filter(
            assignment__route=route, assignment__season_year=year
        ),
    ]
    check_seen(member, seen, assigned_facts(route, year), events)


def lock_route(member: Membership, route_id: int) -> Route:
    """An active route of the program. Two that plan it take turns. Raises Http404,
    ValidationError."""
    route = get_object_or_404(
        member.program.routes.select_for_update(of=("self",)).select_related("program"),
        pk=route_id,
    )
    if not route.active:
        raise ValidationError(
            {"route": said("Route {route_code} is not active.", route_code=route.code)}
        )
    return route


@transaction.atomic
def assign(
    member: Membership,
    *,
    route_id: int,
    observer_id: int,
    season_year: int,
    windows: Sequence[str] = (),
    seen: Seen | None = None,
) -> Assignment:
    """Assign a route to a person for a season year, or for some of its windows. Doing it twice
    changes nothing. Raises Http404, ValidationError by field, EditConflict."""
    require(member, Permission.MANAGE)
    route = lock_route(member, route_id)
    observer = surveying_member(member, observer_id)
    _check_year(member.program, season_year)
    check_assigned(member, seen, route, season_year)
    return give(route, observer, season_year, windows)


def give(route: Route, observer: Membership, year: int, windows: Sequence[str]) -> Assignment:
    """Write an assignment. The caller has checked who may, and holds the lock of the route.
    Raises ValidationError by field."""
    names = [window.name for window in due_windows(route, year)]
    for window in windows:
        if window not in names:
            raise ValidationError(
                {
                    "window": said(
                        "Route {route_code} has no window “{window}” in {year}. Choose one of "
                        "the list.",
                        route_code=route.code,
                        window=window,
                        year=year,
                    )
                }
            )
    assignment, is_new = Assignment.objects.get_or_create(
        route=route,
        observer=observer.person,
        season_year=year,
        defaults={"windows": list(windows)},
    )
    if not is_new and assignment.windows:
        more = [name for name in names if name in assignment.windows or name in windows]
        wanted = more if windows else []
        if wanted != assignment.windows:
            assignment.windows = wanted
            assignment.save(update_fields=["windows"])
    return assignment


@transaction.atomic
def unassign(member: Membership, assignment_id: int, window: str = "") -> Assignment:
    """Take a route from an observer, for the whole season or in one window. Whoever stands in for
    them there goes no longer, either. Visits that were made stay theirs."""
    require(member, Permission.MANAGE)
    assignment = get_object_or_404(
        Assignment.objects.select_for_update(of=("self",)).select_related(
            "route__program", "observer"
        ),
        route__program=member.program,
        pk=assignment_id,
    )
    if window:
        names = assignment.windows or [
            due.name for due in due_windows(assignment.route, assignment.season_year)
        ]
        rest = [name for name in names if name != window]
        if rest:
            assignment.windows = rest
            assignment.save(update_fields=["windows"])
            assignment.substitutes.filter(window=window).delete()
            return assignment
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
    before = rows.filter(season_year=season_year - 1).order_by("route_id", "observer_id")
    added = Assignment.objects.bulk_create(
        [
            Assignment(
                route_id=row.route_id,
                observer_id=row.observer_id,
                season_year=season_year,
                windows=row.windows,
            )
            for row in before
            if (row.route_id, row.observer_id) not in assigned
        ],
        ignore_conflicts=True,
    )
    return len(added)
