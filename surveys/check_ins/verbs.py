"""Setting a return time, and saying "we are back"."""

from __future__ import annotations

import datetime as dt
import uuid

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone

from accounts.access import Permission, require
from accounts.models import Membership, Person
from surveys.check_ins.contacts import usable_contacts
from surveys.check_ins.mailing import mail_back
from surveys.language import gettext, said
from surveys.models import CheckIn, CheckInContact, Route

# Return times of one observer in a day: each may mail the contact twice.
MOST_A_DAY = 6
DAY = dt.timedelta(days=1)
LONGEST = dt.timedelta(hours=24)
# No phone that this site runs on was out before; only its clock may say so.
EARLIEST = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)
LONGEST_CAR = 120
# What arrives later than this after the return time tells nobody anything.
TOO_LATE = dt.timedelta(hours=6)


def open_check_in(member: Membership) -> CheckIn | None:
    """The return time that the member has not answered yet; forgotten a day after it."""
    return (
        _of(member)
        .filter(back_at=None, back_by__gt=timezone.now() - DAY)
        .select_related("route", "contact__member")
        .first()
    )


@transaction.atomic
def set_check_in(
    member: Membership,
    check_in_id: uuid.UUID,
    *,
    route: Route,
    back_by: dt.datetime,
    contact_id: int | None,
    car: str = "",
    back_at: dt.datetime | None = None,
    set_by_id: int | None = None,
) -> CheckIn:
    """Store what the phone says: it sends the whole again whenever it has signal.

    With `back_at` they are back, which stays so. A time may be changed until the contact was
    mailed. A time that another person set, who has lent the phone or signed out meanwhile, is not
    the member's. Raises PermissionDenied, Http404, ValidationError.
    """
    require(member, Permission.SURVEY)
    if set_by_id not in (None, member.person_id):
        raise Http404(
            gettext("Someone else set this return time. They have to sign in to send it.")
        )
    Person.objects.select_for_update().get(pk=member.person_id)
    if route.program_id != member.program_id:
        raise Http404(gettext("There is no such route in this program."))
    now = timezone.now()
    found = CheckIn.objects.select_for_update().filter(pk=check_in_id).first()
    if found is None:
        found = CheckIn(id=check_in_id, person=member.person, begun_at=now)
        _check_number(member, now)
        _others_are_back(member, now)
    elif found.person_id != member.person_id or found.route.program_id != member.program_id:
        raise Http404(gettext("There is no such return time, or it is not yours."))
    if found.back_at is not None:
        return found
    found.heard_at = now
    if found.overdue_at is None:
        contact = usable_contacts(member).filter(pk=contact_id).first() or found.contact
        # Of those who are back already nobody is mailed, so it does not matter when it arrives.
        if back_at is None:
            _check(found, contact, back_by, now)
        found.route, found.back_by, found.contact = route, max(back_by, EARLIEST), contact
        found.car = car.strip()[:LONGEST_CAR]
    if back_at is not None:
        # The clock of the phone may be wrong, and it may tell of an evening days later.
        found.back_at = max(found.back_by - LONGEST, min(back_at, now))
    found.save()
    if found.back_at is not None and found.overdue_at is not None:
        mail_back.defer(check_in_id=str(found.pk))
    return found


@transaction.atomic
def say_back(member: Membership, check_in_id: uuid.UUID) -> CheckIn:
    """ "We are back", from any device. Doing it twice changes nothing. Raises Http404."""
    require(member, Permission.SURVEY)
    found = _of(member).select_for_update(of=("self",)).filter(pk=check_in_id).first()
    if found is None:
        raise Http404(gettext("There is no such return time, or it is not yours."))
    if found.back_at is None:
        _is_back(found, timezone.now())
    return found


def _check(
    found: CheckIn, contact: CheckInContact | None, back_by: dt.datetime, now: dt.datetime
) -> None:
    if found.back_by != back_by and not now - TOO_LATE < back_by <= now + LONGEST:
        raise ValidationError(
            {"back_by": gettext("Set a time to be back by, within the next 24 hours.")}
        )
    if contact is None:
        raise ValidationError(
            {"contact": gettext("Choose a contact from your list. They must have said yes.")}
        )


def _check_number(member: Membership, now: dt.datetime) -> None:
    if CheckIn.objects.filter(person=member.person, begun_at__gt=now - DAY).count() >= MOST_A_DAY:
        raise ValidationError(said("You can set {number} return times a day.", number=MOST_A_DAY))


def _others_are_back(member: Membership, now: dt.datetime) -> None:
    """Who sets out again is back from before."""
    for other in _of(member).select_for_update(of=("self",)).filter(back_at=None):
        _is_back(other, now)


def _is_back(found: CheckIn, now: dt.datetime) -> None:
    found.back_at = found.heard_at = now
    found.save()
    if found.overdue_at is not None:
        mail_back.defer(check_in_id=str(found.pk))


def _of(member: Membership) -> QuerySet[CheckIn]:
    return CheckIn.objects.filter(person=member.person_id, route__program=member.program_id)
