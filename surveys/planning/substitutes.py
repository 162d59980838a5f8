"""Who goes in one window in place of the observer of a route."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.db import transaction
from django.shortcuts import get_object_or_404

from accounts.access import Permission, require
from accounts.edit_conflicts import Seen
from accounts.models import Membership
from surveys.language import said
from surveys.models import Assignment, Substitute
from surveys.planning.notices import mail_substitute
from surveys.programs.assignments import (
    check_assigned,
    due_windows,
    lock_route,
    surveying_member,
)
from surveys.runs.mail_hours import defer_by_day


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
    known = assignment.substitutes.filter(window=window).first()
    if known is not None and known.person_id == person.pk:
        return known
    substitute, _ = Substitute.objects.update_or_create(
        assignment=assignment, window=window, defaults={"person": person}
    )
    for reader in (person, assignment.observer):
        defer_by_day(
            mail_substitute,
            member.program.time_zone,
            substitute_id=substitute.pk,
            person_id=reader.pk,
            site_url=site_url,
        )
    return substitute


@transaction.atomic
def drop_substitute(member: Membership, substitute_id: int) -> Substitute:
    """The observer goes again. Raises Http404."""
    require(member, Permission.MANAGE)
    substitute = get_object_or_404(
        Substitute.objects.select_for_update(of=("self",)).select_related(
            "assignment__route", "assignment__observer", "person"
        ),
        assignment__route__program=member.program,
        pk=substitute_id,
    )
    gone = substitute.pk
    substitute.delete()
    substitute.pk = gone
    return substitute


def _assignment(member: Membership, assignment_id: int) -> Assignment:
    return get_object_or_404(
        Assignment.objects.select_related("observer"),
        route__program=member.program,
        pk=assignment_id,
    )
