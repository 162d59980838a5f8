"""The people of a program: role, training, deactivating and reactivating members."""

import datetime as dt

from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import Http404
from django.shortcuts import get_object_or_404

from accounts.access import (
    Permission,
    may,
    require,
)
from accounts.edit_conflicts import (
    Facts,
    Seen,
    check_seen,
    yes_or_no,
)
from accounts.models import (
    Membership,
    Person,
    Role,
)
from accounts.training import Validity, validity_on
from surveys import dates
from surveys.language import gettext, said


def people_of(member: Membership) -> list[Membership]:
    """All current and former members who have an account: active ones first, by name."""
    return list(
        member.program.memberships.exclude(person__email=None)
        .select_related("person")
        .order_by("-active", "person__name", "pk")
    )


def person_of(member: Membership, membership_id: int) -> Membership:
    """A membership of the member's own program. Raises Http404."""
    return get_object_or_404(member.program.memberships.select_related("person"), pk=membership_id)


def person_facts(membership: Membership) -> Facts:
    """What the form of a member shows."""
    return {
        gettext("Role"): membership.get_role_display(),
        gettext("Trained on"): _day(membership.trained_on),
        gettext("Call-identification test valid until"): _day(membership.trained_until),
        gettext("May download exact locations"): yes_or_no(membership.exact_places),
    }


def _day(day: dt.date | None) -> str:
    return dates.day(day) if day else ""


def _locked(member: Membership, membership_id: int) -> tuple[Membership, list[Membership]]:
    """The membership and all others of its program, locked, so that two coordinators
    cannot remove each other at the same time. Raises Http404."""
    rows = list(
        Membership.objects.select_for_update(of=("self",))
        .select_related("person", "program")
        .filter(program=member.program)
        .order_by("pk")
    )
    for membership in rows:
        if membership.pk == membership_id:
            return membership, rows
    raise Http404(gettext("There is no such person in this program."))


def _check_coordinator_left(membership: Membership, rows: list[Membership]) -> None:
    manages = [row for row in rows if row != membership and may(row, Permission.MANAGE)]
    if may(membership, Permission.MANAGE) and not manages:
        raise ValidationError(
            said(
                "{person_name} is the only coordinator of this program. Make someone else a "
                "coordinator first.",
                person_name=membership.person.name,
            )
        )


@transaction.atomic
def change_role(member: Membership, membership_id: int, role: str) -> Membership:
    """Change a member's role. Raises ValidationError for the last coordinator."""
    require(member, Permission.MANAGE)
    if role not in Role.values:
        raise ValidationError({"role": said("“{role}” is not a role.", role=role)})
    membership, rows = _locked(member, membership_id)
    if role != Role.COORDINATOR:
        try:
            _check_coordinator_left(membership, rows)
        except ValidationError as refusal:
            raise ValidationError({"role": refusal.messages}) from refusal
    membership.role = role
    membership.save()
    return membership


@transaction.atomic
def set_training(
    member: Membership,
    membership_id: int,
    *,
    trained_on: dt.date | None,
    trained_until: dt.date | None,
) -> Membership:
    """Record the period for which a member's training is valid.

    `trained_on` is None without a record, `trained_until` without an expiry date.
    """
    require(member, Permission.MANAGE)
    if trained_until and not trained_on:
        raise ValidationError({"trained_on": gettext("Enter the date of the test, too.")})
    if trained_on and trained_until and trained_until < trained_on:
        raise ValidationError({"trained_until": gettext("The test expires before its date.")})
    membership, _ = _locked(member, membership_id)
    membership.trained_on, membership.trained_until = trained_on, trained_until
    membership.save()
    return membership


@transaction.atomic
def record_passed_test(member: Membership, passed_on: dt.date, valid_until: dt.date) -> Membership:
    """Record a call-identification test that the member passed on this site: as valid from that
    day, or from before if one was valid then. One that is valid longer stays so.

    Nobody but the test itself calls this; a coordinator records others by `set_training`.
    """
    require(member, Permission.SURVEY)
    membership = Membership.objects.select_for_update().get(pk=member.pk)
    before = validity_on(membership, passed_on)
    until = membership.trained_until
    if before in (Validity.VALID, Validity.AHEAD):
        valid_until = max(until, valid_until) if until else None
    if before is not Validity.VALID:
        membership.trained_on = passed_on
    membership.trained_until = valid_until
    membership.save()
    return membership


@transaction.atomic
def set_exact_places(member: Membership, membership_id: int, allowed: bool) -> Membership:
    """Grant or revoke a member's right to download the exact places of stops."""
    require(member, Permission.MANAGE)
    membership, _ = _locked(member, membership_id)
    membership.exact_places = allowed
    membership.save()
    return membership


def set_named(person: Person, *, named: bool) -> None:
    """Record or withdraw a person's own consent to be named in publications."""
    person.named_in_reports = named
    person.save(update_fields=["named_in_reports"])


@transaction.atomic
def deactivate(member: Membership, membership_id: int) -> Membership:
    """End a member's access to the program. Their visits stay, under their name."""
    require(member, Permission.MANAGE)
    membership, rows = _locked(member, membership_id)
    _check_coordinator_left(membership, rows)
    membership.active = False
    membership.save()
    return membership


@transaction.atomic
def reactivate(member: Membership, membership_id: int) -> Membership:
    require(member, Permission.MANAGE)
    membership, _ = _locked(member, membership_id)
    if not membership.person.has_account:
        raise ValidationError(
            said(
                "{name} has no account. Invite them by email instead.", name=membership.person.name
            )
        )
    membership.active = True
    membership.save()
    return membership


@transaction.atomic
def change_person(
    member: Membership,
    membership_id: int,
    *,
    role: str,
    trained_on: dt.date | None,
    trained_until: dt.date | None,
    exact_places: bool,
    seen: Seen | None = None,
) -> Membership:
    """Set role, training and the right to exact places, all in one transaction.

    Raises ValidationError by field, EditConflict.
    """
    require(member, Permission.MANAGE)
    membership, _ = _locked(member, membership_id)
    if not membership.person.has_account:
        raise Http404(gettext("There is no such person in this program."))
    check_seen(member, seen, person_facts(membership), [membership.events.all()])
    set_exact_places(member, membership_id, exact_places)
    set_training(member, membership_id, trained_on=trained_on, trained_until=trained_until)
    return change_role(member, membership_id, role)
