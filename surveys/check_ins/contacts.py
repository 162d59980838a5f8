"""Whom an observer may choose to be mailed when they are not back in time.

A member of the program may be chosen as they are, and may say no in each mail. Anybody else gets
one mail that asks, and nothing more unless they say yes, whoever takes them off a list and puts
them on again: so the site cannot be made to mail strangers. Links are signed, and open nothing but
the answer.
"""

from __future__ import annotations

import datetime as dt
import re

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import Q, QuerySet
from django.http import Http404
from django.utils import timezone
from django.utils.crypto import salted_hmac

from accounts.access import Permission, require
from accounts.models import Membership, Person
from surveys.check_ins.asking import mail_question
from surveys.language import gettext, said
from surveys.models import CheckInContact

# Contacts of one observer at a time.
MOST_CONTACTS = 5
# Mails that ask, a day: of one observer, and to one address from all observers together.
MOST_ASKED, MOST_ASKED_AT_ADDRESS = 3, 3
MEMBER_KEY = "member "
ASKED_WITHIN = dt.timedelta(days=1)
# Names stand in mail to somebody who has not asked for it: no place for a link.
_ADDRESS = re.compile(r"[/@\\]|www\.|\w\.\w{2,}")


def contacts_of(member: Membership) -> QuerySet[CheckInContact]:
    """On the member's list, those who have not answered yet among them."""
    return CheckInContact.objects.filter(
        program=member.program_id, owner=member.person_id, declined_at=None, removed_at=None
    ).select_related("member")


def usable_contacts(member: Membership) -> QuerySet[CheckInContact]:
    """Who said yes, and members who still are."""
    members = member.program.memberships.filter(active=True, person__is_active=True)
    return contacts_of(member).filter(
        Q(member__in=members.values("person")) | Q(member=None, confirmed_at__isnull=False)
    )


@transaction.atomic
def add_member(member: Membership, person_id: int, *, site_url: str) -> CheckInContact:
    """Raises ValidationError."""
    _lock_list(member)
    members = member.program.memberships.filter(active=True, person__is_active=True)
    chosen = members.exclude(person=member.person_id).filter(person=person_id).first()
    if chosen is None:
        raise ValidationError({"member": gettext("Choose a member of the program.")})
    key = f"{MEMBER_KEY}{person_id}"
    _check_willing(member, [key])
    return _add(member, key, member=chosen.person, site_url=site_url)


@transaction.atomic
def add_address(member: Membership, *, name: str, email: str, site_url: str) -> CheckInContact:
    """Ask somebody who is no member, by mail, whether they want to be a contact.

    Raises ValidationError.
    """
    _lock_list(member)
    name, email = " ".join(name.split()), email.strip().lower()
    if not 0 < len(name) <= 120:
        raise ValidationError({"name": gettext("Write their name, in at most 120 characters.")})
    _check_names(member, name)
    validate_email(email)
    if email == member.person.email:
        raise ValidationError(
            {"email": gettext("This is your own address. Choose another person.")}
        )
    keys = keys_of(email)
    _check_willing(member, keys)
    known = _asked_before(member, keys)
    if known is not None:
        return _put_back(member, known, name=name, email=email)
    recent = CheckInContact.objects.filter(
        member=None, asked_at__gt=timezone.now() - ASKED_WITHIN
    ).exclude(owner=member.person_id, address_key__in=keys)
    if (
        recent.filter(owner=member.person_id).count() >= MOST_ASKED
        or recent.filter(address_key__in=keys).count() >= MOST_ASKED_AT_ADDRESS
    ):
        raise ValidationError(
            gettext("The site sends no more of these emails today. Try again tomorrow.")
        )
    contact = _add(member, *keys, name=name, email=email, site_url=site_url)
    mail_question.defer(contact_id=contact.pk)
    return contact


@transaction.atomic
def remove(member: Membership, contact_id: int) -> None:
    """Take somebody off the list; name and address are forgotten. Raises Http404."""
    contact = contacts_of(member).select_for_update(of=("self",)).filter(pk=contact_id).first()
    if contact is None:
        raise Http404(gettext("There is no such contact on your list."))
    _forget(contact, removed_at=timezone.now())


def confirm(contact: CheckInContact) -> None:
    """The person asked says yes. Without effect once they said no or were taken off the list."""
    open_ones = CheckInContact.objects.filter(pk=contact.pk, declined_at=None, removed_at=None)
    open_ones.update(confirmed_at=timezone.now())


@transaction.atomic
def decline(contact: CheckInContact) -> None:
    """No mail of this kind any more, and no question of this observer again."""
    locked = CheckInContact.objects.select_for_update().get(pk=contact.pk)
    if locked.declined_at is None:
        _forget(locked, declined_at=timezone.now())


def _check_names(member: Membership, name: str) -> None:
    if _ADDRESS.search(name):
        raise ValidationError(
            {"name": gettext("Write a name only, without an email or web address.")}
        )
    if _ADDRESS.search(member.person.name):
        raise ValidationError(
            gettext("Your own name holds an email or web address. Ask a coordinator to change it.")
        )


def _check_willing(owner: Membership, keys: list[str]) -> None:
    """Raises ValidationError for who said no to this observer, in whichever program."""
    rows = CheckInContact.objects.filter(owner=owner.person_id, address_key__in=keys)
    if rows.exclude(declined_at=None).exists():
        raise ValidationError(gettext("This person does not want these emails."))


def _asked_before(owner: Membership, keys: list[str]) -> CheckInContact | None:
    """The row of somebody who was taken off the list and has not answered."""
    rows = CheckInContact.objects.filter(
        program=owner.program_id, owner=owner.person_id, address_key__in=keys, confirmed_at=None
    )
    return rows.exclude(removed_at=None).first()


def _put_back(owner: Membership, known: CheckInContact, **facts: str) -> CheckInContact:
    """On the list again, without another mail: the link of the first one works again."""
    _check_room(owner)
    known.removed_at = None
    for name, value in facts.items():
        setattr(known, name, value)
    known.save()
    return known


def _lock_list(member: Membership) -> None:
    """Two requests at once take turns, so that neither passes the limits."""
    require(member, Permission.SURVEY)
    Person.objects.select_for_update().get(pk=member.person_id)


def _add(owner: Membership, key: str, *earlier: str, **facts: object) -> CheckInContact:
    """`earlier` are keys under which the same address may be stored."""
    rows = CheckInContact.objects.filter(program=owner.program_id, owner=owner.person_id)
    known = rows.filter(address_key__in=(key, *earlier)).first()
    if known is not None and known.removed_at is None:
        raise ValidationError(gettext("This person is on your list already."))
    _check_room(owner)
    if known is not None and known.asked_at > timezone.now() - ASKED_WITHIN and "email" in facts:
        raise ValidationError(gettext("This person was asked today. Try again tomorrow."))
    if known is not None:
        known.delete()
    return CheckInContact.objects.create(
        program=owner.program, owner=owner.person, address_key=key, **facts
    )


def _check_room(owner: Membership) -> None:
    if contacts_of(owner).count() >= MOST_CONTACTS:
        raise ValidationError(
            said("You can have {number} contacts. Remove one first.", number=MOST_CONTACTS)
        )


def _forget(contact: CheckInContact, **when: dt.datetime) -> None:
    contact.name, contact.email, contact.member = "", "", None
    for name, at in when.items():
        setattr(contact, name, at)
    contact.save()


def keys_of(email: str) -> list[str]:
    """Keyed hashes, since an address can be guessed from a bare one: under the present secret key,
    which is stored, then under those of before, so that a "no" outlives a change of the key."""
    secrets = (settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS)
    salt = "surveys.check_ins.contacts"
    return [
        salted_hmac(salt, email, secret=secret, algorithm="sha256").hexdigest()
        for secret in secrets
    ]
