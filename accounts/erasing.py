"""Erasing a person on request. Records stay, under a pseudonym; the account ends for good."""

from __future__ import annotations

import pgtrigger
from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.http import Http404

from accounts.access import Permission, require
from accounts.models import AccessToken, Invitation, Membership, Person, Role, SecurityAct
from accounts.past_observers import forget_credits, forget_merged, pseudonym
from surveys.language import gettext
from surveys.models import CheckIn, CheckInContact, PracticeAnswer

_ACTS = "accounts.SecurityAct:add_only"


@transaction.atomic
def erase(member: Membership, membership_id: int) -> str:
    """Erase name, address and account of a person of the program; the pseudonym.

    What others wrote stays: notes on sheets and stored files may still say the name. Raises
    Http404, ValidationError.
    """
    require(member, Permission.MANAGE)
    rows = member.program.memberships.select_for_update(of=("self",)).select_related("person")
    membership = rows.filter(pk=membership_id).first()
    if membership is None:
        raise Http404(gettext("There is no such person in this program."))
    person = membership.person
    _check(member, membership, person)
    email, former_name = person.email, person.name
    person.name = pseudonym(person)
    person.email = None
    person.is_active = False
    person.named_in_reports = False
    person.set_unusable_password()
    person.save()
    person.memberships.update(active=False, trained_on=None, trained_until=None, exact_places=False)
    forget_merged(person.memberships.all())
    forget_credits(person.memberships.select_related("person"), former_name)
    for one in person.memberships.all():
        one.absences.all().delete()
        one.help_offers.all().delete()
        one.route_requests.update(note="", answer="")
    AccessToken.objects.filter(user=person).delete()
    CheckIn.objects.filter(person=person).delete()
    PracticeAnswer.objects.filter(person=person).delete()
    CheckInContact.objects.filter(Q(owner=person) | Q(member=person)).delete()
    _end_sign_in(person)
    if email:
        CheckInContact.objects.filter(email__iexact=email).delete()
        Invitation.objects.filter(email__iexact=email).delete()
    with pgtrigger.ignore(_ACTS):
        acts = SecurityAct.objects.filter(person=person, act="address")
        acts.update(before="", after="")
    return person.name


def _check(member: Membership, membership: Membership, person: Person) -> None:
    if person.pk == member.person_id:
        raise ValidationError(gettext("You cannot erase yourself. Ask another coordinator."))
    if membership.active and membership.role == Role.COORDINATOR:
        raise ValidationError(gettext("Coordinators cannot be erased. Change the role first."))
    if person.memberships.exclude(pk=membership.pk).exists():
        raise ValidationError(
            gettext(
                "This person is known to another program, too, so only those who run the site can "
                "erase them."
            )
        )


def _end_sign_in(person: Person) -> None:
    EmailAddress.objects.filter(user=person).delete()
    Authenticator.objects.filter(user=person).delete()
    for session in UserSession.objects.filter(user=person):
        session.end()
