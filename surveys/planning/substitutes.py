"""Who goes in one window in place of the observer of a route. A coordinator names somebody, or the
observer does who has found one; whoever was named may say no."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.utils import timezone
from procrastinate.tasks import Task

from accounts.access import Permission, may, require
from accounts.edit_conflicts import Seen
from accounts.models import Membership, Person
from surveys.language import gettext, said
from surveys.models import Assignment, Route, Substitute
from surveys.planning.notices import mail_no_substitute, mail_substitute
from surveys.programs.assignments import (
    check_assigned,
    due_windows,
    lock_route,
    surveying_member,
    today_of,
)
from surveys.programs.schedule import DueWindow
from surveys.runs.mail_hours import defer_by_day

# Each is mailed: substitutes that one observer names in a day.
MOST_NAMED, NAMED_WITHIN = 10, dt.timedelta(days=1)


@transaction.atomic
def name_substitute(
    member: Membership,
    *,
    assignment_id: int,
    window: str,
    observer_id: int,
    seen: Seen | None = None,
    site_url: str = "",
) -> Substitute:
    """Name who stands in, in place of whoever did before; both sides are told by mail.

    Raises Http404, ValidationError by field, EditConflict.
    """
    require(member, Permission.MANAGE)
    assignment = _assignment(member, assignment_id)
    route = lock_route(member, assignment.route_id)
    check_assigned(member, seen, route, assignment.season_year)
    person = surveying_member(member, observer_id).person
    _check_part(assignment, route, window, person)
    substitute = _put(assignment, window, person)
    if substitute is None:
        return assignment.substitutes.get(window=window)
    _tell_of(substitute, {person, assignment.observer}, member, site_url)
    return substitute


@transaction.atomic
def name_own_substitute(
    member: Membership, *, assignment_id: int, window: str, observer_id: int, site_url: str = ""
) -> Substitute:
    """Name who goes in one's own place; they and the coordinators are told by mail.

    Raises Http404, ValidationError by field.
    """
    require(member, Permission.SURVEY)
    assignment = own_assignment(member, assignment_id)
    route = lock_route(member, assignment.route_id)
    due_window(assignment, window)
    person = surveying_member(member, observer_id).person
    _check_part(assignment, route, window, person)
    _check_number(member)
    substitute = _put(assignment, window, person)
    if substitute is None:
        return assignment.substitutes.get(window=window)
    _tell_of(substitute, {person, *_coordinators(member)}, member, site_url)
    return substitute


@transaction.atomic
def drop_substitute(member: Membership, substitute_id: int, *, site_url: str = "") -> Substitute:
    """The observer goes again; both sides are told by mail. Raises Http404."""
    require(member, Permission.MANAGE)
    return _drop(member, substitute_id, Q(), set(), site_url)


@transaction.atomic
def drop_own_substitute(
    member: Membership, substitute_id: int, *, site_url: str = ""
) -> Substitute:
    """For the observer, who goes after all, and the substitute, who cannot. The other side and the
    coordinators are told by mail. Raises Http404."""
    require(member, Permission.SURVEY)
    own = Q(person=member.person) | Q(assignment__observer=member.person)
    return _drop(member, substitute_id, own, _coordinators(member), site_url)


def own_assignment(member: Membership, assignment_id: int) -> Assignment:
    """Raises Http404."""
    assignment = _assignment(member, assignment_id)
    if assignment.observer_id != member.person_id:
        raise Http404
    return assignment


def due_window(assignment: Assignment, window: str) -> DueWindow:
    """A window of the assignment that is not over. Raises ValidationError."""
    today = today_of(assignment.route.program)
    for due in due_windows(assignment.route, assignment.season_year):
        if due.name == window and window in (assignment.windows or [window]):
            if due.closes >= today:
                return due
            raise ValidationError(said("The window “{window}” is over.", window=window))
    raise ValidationError(gettext("Choose one of your windows."))


def _assignment(member: Membership, assignment_id: int) -> Assignment:
    return get_object_or_404(
        Assignment.objects.select_related("observer", "route__program"),
        route__program=member.program,
        pk=assignment_id,
    )


def _check_part(assignment: Assignment, route: Route, window: str, person: Person) -> None:
    """Raise ValidationError by field unless the person can stand in for the observer then."""
    names = [due.name for due in due_windows(route, assignment.season_year)]
    if window not in (assignment.windows or names):
        raise ValidationError(
            {
                "window": said(
                    "{observer} does not survey {route_code} in “{window}”. Choose one of their "
                    "windows.",
                    observer=assignment.observer.name,
                    route_code=route.code,
                    window=window,
                )
            }
        )
    if person == assignment.observer:
        raise ValidationError(
            {
                "observer": said(
                    "{name} surveys this route already. Choose someone else.", name=person.name
                )
            }
        )


def _check_number(member: Membership) -> None:
    """The row is locked, so that two at once take turns."""
    Membership.objects.select_for_update().get(pk=member.pk)
    named = Substitute.pgh_event_model.objects.filter(
        assignment__observer=member.person,
        assignment__route__program=member.program,
        pgh_label__in=("insert", "update"),
        pgh_created_at__gt=timezone.now() - NAMED_WITHIN,
    )
    if named.count() >= MOST_NAMED:
        raise ValidationError(
            gettext(
                "You have named many substitutes today. Try again tomorrow, or write to your "
                "coordinator."
            )
        )


def _put(assignment: Assignment, window: str, person: Person) -> Substitute | None:
    """Write it; None where the person stands in already."""
    known = assignment.substitutes.filter(window=window).first()
    if known is not None and known.person_id == person.pk:
        return None
    substitute, _ = Substitute.objects.update_or_create(
        assignment=assignment, window=window, defaults={"person": person}
    )
    return substitute


def _coordinators(member: Membership) -> set[Person]:
    members = member.program.memberships.filter(active=True).select_related("person")
    return {one.person for one in members if may(one, Permission.MANAGE)}


def _tell_of(
    substitute: Substitute, readers: set[Person], member: Membership, site_url: str
) -> None:
    _mail(mail_substitute, readers, member, substitute_id=substitute.pk, site_url=site_url)


def _drop(
    member: Membership, substitute_id: int, own: Q, readers: set[Person], site_url: str
) -> Substitute:
    substitute = get_object_or_404(
        Substitute.objects.select_for_update(of=("self",))
        .select_related("assignment__route", "assignment__observer", "person")
        .filter(own),
        assignment__route__program=member.program,
        pk=substitute_id,
    )
    gone = substitute.pk
    substitute.delete()
    substitute.pk = gone
    readers = readers | {substitute.person, substitute.assignment.observer}
    _mail(
        mail_no_substitute,
        readers,
        member,
        assignment_id=substitute.assignment_id,
        window=substitute.window,
        former_id=substitute.person_id,
        site_url=site_url,
    )
    return substitute


def _mail(
    task: Task[Any, Any, Any], readers: set[Person], member: Membership, **about: Any
) -> None:
    """By day, to each of them but the member."""
    for reader in sorted(readers - {member.person}, key=lambda person: person.pk):
        defer_by_day(task, member.program.time_zone, person_id=reader.pk, **about)
