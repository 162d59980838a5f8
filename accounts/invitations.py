"""Invitations: the only way to get an account.

The link carries a token derived from the invitation and the server's secret key. The database
stores a hash of it and the mail queue only the invitation's id, so neither is enough to accept
it. Sending an invitation again keeps the link and extends it by two weeks.

The link shows that whoever opens it reads the mail of that address. So it is mailed and never
shown, not even to who invites; only the command that sets up an installation prints it.
"""

import datetime as dt
from dataclasses import dataclass

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.mail import send_mail
from django.db import transaction
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import salted_hmac
from procrastinate.contrib.django import app

from accounts.access import (
    Permission,
    require,
)
from accounts.models import (
    Invitation,
    JoiningLink,
    Membership,
    Person,
    Role,
    hash_token,
)
from accounts.past_observers import check_past_observer, take_over
from surveys import dates
from surveys.dates import day
from surveys.language import gettext, said
from surveys.models import Program
from surveys.runs.queues import MAIL, MAIL_RETRY

VALID_FOR = dt.timedelta(days=14)


@dataclass(frozen=True, kw_only=True)
class IssuedInvitation:
    """An invitation with the link that opens it. Who has the link can join as that person."""

    invitation: Invitation
    link: str


class InvitationError(Exception):
    """This invitation cannot be used; `str()` is a sentence that says why."""


def _token(invitation: Invitation) -> str:
    facts = (
        f"{invitation.program_id}:{invitation.email}:"
        f"{invitation.created_at.astimezone(dt.UTC).isoformat()}"
    )
    return salted_hmac("accounts.invitations", facts, algorithm="sha256").hexdigest()


def _link(invitation: Invitation, site_url: str) -> str:
    path = reverse("web:people_invitation", kwargs={"token": _token(invitation)})
    return site_url.rstrip("/") + path


def open_invitations(program: Program) -> list[Invitation]:
    """Invitations that were neither used nor withdrawn, newest first; some may have expired."""
    return list(
        program.invitations.select_related("invited_by").filter(accepted_at=None, withdrawn_at=None)
    )


# --- Inviting -----------------------------------------------------------------


def check_invite(program: Program, email: str) -> None:
    """Raise ValidationError on `email` for members and for people already invited."""
    membership = (
        program.memberships.select_related("person").filter(person__email__iexact=email).first()
    )
    if membership and membership.active:
        raise ValidationError(
            {
                "email": said(
                    "{person_name} ({person_email}) is already a member, as {role}. Change "
                    "the role on the list of people.",
                    person_name=membership.person.name,
                    person_email=membership.person.email,
                    role=membership.get_role_display().lower(),
                )
            }
        )
    if program.invitations.filter(
        email__iexact=email, accepted_at=None, withdrawn_at=None
    ).exists():
        raise ValidationError(
            {
                "email": said(
                    "{email} has an open invitation already. Send it again, or withdraw it "
                    "first to invite with another role.",
                    email=email,
                )
            }
        )


def make_invitation(
    program: Program,
    *,
    email: str,
    name: str,
    role: str,
    invited_by: Person | None,
    by_link: JoiningLink | None = None,
    person: Person | None = None,
) -> Invitation:
    """Not stored yet."""
    now = timezone.now()
    invitation = Invitation(
        program=program,
        email=email,
        name=name.strip(),
        role=role,
        invited_by=invited_by,
        by_link=by_link,
        person=person,
        created_at=now,
        expires_at=now + VALID_FOR,
    )
    invitation.token_hash = hash_token(_token(invitation))
    return invitation


def issue(
    program: Program,
    *,
    email: str,
    name: str,
    role: str,
    site_url: str,
    invited_by: Person | None,
    person: Person | None = None,
) -> IssuedInvitation:
    """Store the invitation and queue its mail, in one transaction.

    Checks no permission: called directly only to set up an installation; otherwise `invite`.
    """
    if role not in Role.values:
        raise ValidationError({"role": said("“{role}” is not a role.", role=role)})
    email = email.strip().lower()
    with transaction.atomic():
        Program.objects.select_for_update().get(pk=program.pk)
        check_invite(program, email)
        invitation = make_invitation(
            program, email=email, name=name, role=role, invited_by=invited_by, person=person
        )
        invitation.full_clean(exclude=["invited_by", "person"])
        invitation.save()
        send_invitation.defer(invitation_id=invitation.pk, site_url=site_url)
    return IssuedInvitation(invitation=invitation, link=_link(invitation, site_url))


def invite(
    member: Membership, *, email: str, name: str, role: str, site_url: str
) -> IssuedInvitation:
    """Invite somebody by e-mail. `site_url` is the address of this installation."""
    require(member, Permission.MANAGE)
    return issue(
        member.program,
        email=email,
        name=name,
        role=role,
        site_url=site_url,
        invited_by=member.person,
    )


def _open(member: Membership, invitation_id: int) -> Invitation:
    """The member's own program's invitation, locked. Raises ValidationError when it is closed."""
    invitation = get_object_or_404(
        Invitation.objects.select_for_update(), program=member.program, pk=invitation_id
    )
    if invitation.accepted_at:
        raise ValidationError(
            said(
                "{invitation_email} has already joined with this invitation.",
                invitation_email=invitation.email,
            )
        )
    if invitation.withdrawn_at:
        raise ValidationError(
            gettext("This invitation was withdrawn before. Invite again instead.")
        )
    return invitation


def invite_past_observer(
    member: Membership, membership_id: int, *, email: str, site_url: str
) -> IssuedInvitation:
    """Invite an observer of the past, whose visits are theirs once they join."""
    require(member, Permission.MANAGE)
    person = check_past_observer(member.program, membership_id)
    return issue(
        member.program,
        email=email,
        name=person.name,
        role=Role.OBSERVER,
        site_url=site_url,
        invited_by=member.person,
        person=person,
    )


@transaction.atomic
def send_again(member: Membership, invitation_id: int, *, site_url: str) -> IssuedInvitation:
    """Queue the mail again; the same link works for another two weeks."""
    require(member, Permission.MANAGE)
    invitation = _open(member, invitation_id)
    invitation.expires_at = timezone.now() + VALID_FOR
    invitation.token_hash = hash_token(_token(invitation))
    invitation.save()
    send_invitation.defer(invitation_id=invitation.pk, site_url=site_url)
    return IssuedInvitation(invitation=invitation, link=_link(invitation, site_url))


@transaction.atomic
def withdraw(member: Membership, invitation_id: int) -> Invitation:
    require(member, Permission.MANAGE)
    invitation = _open(member, invitation_id)
    invitation.withdrawn_at = timezone.now()
    invitation.save()
    return invitation


@app.task(
    name="accounts.send_invitation",
    queue=MAIL,
    retry=MAIL_RETRY,
)
def send_invitation(*, invitation_id: int, site_url: str) -> None:
    """Mail the link, unless the invitation has since been used or withdrawn."""
    invitation = (
        Invitation.objects.select_related("program", "invited_by")
        .filter(pk=invitation_id, accepted_at=None, withdrawn_at=None)
        .first()
    )
    if invitation is None:
        return
    facts = {"invitation": invitation, "link": _link(invitation, site_url)}
    with dates.using(invitation.program.date_style):
        message = render_to_string("accounts/mail/invitation.txt", facts)
    send_mail(
        subject=said("Invitation to {program_name}", program_name=invitation.program.name),
        message=message,
        from_email=None,
        recipient_list=[invitation.email],
    )


# --- Accepting ----------------------------------------------------------------


def contact_advice(program: Program) -> str:
    if program.contact_email:
        return said(
            "Ask {program_name} ({contact_email})",
            program_name=program.name,
            contact_email=program.contact_email,
        )
    return said("Ask a coordinator of {program_name}", program_name=program.name)


def find_invitation(token: str) -> Invitation:
    """The invitation that a link belongs to. Raises Http404 for an unknown token."""
    invitation = (
        Invitation.objects.select_related("program", "invited_by")
        .filter(token_hash=hash_token(token))
        .first()
    )
    if invitation is None:
        raise Http404(
            gettext(
                "This link does not belong to an invitation. Copy the whole link from the email."
            )
        )
    return invitation


def check_usable(invitation: Invitation) -> None:
    """Raise InvitationError when the invitation was used, withdrawn, or is too old."""
    contact = contact_advice(invitation.program)
    if invitation.accepted_at:
        raise InvitationError(
            said(
                "This invitation was used on {accepted_at}. Sign in as {invitation_email} instead.",
                accepted_at=day(invitation.accepted_at),
                invitation_email=invitation.email,
            )
        )
    if invitation.withdrawn_at:
        raise InvitationError(
            said(
                "This invitation was withdrawn on {withdrawn_at}. {contact} if you think "
                "this is a mistake.",
                withdrawn_at=day(invitation.withdrawn_at),
                contact=contact,
            )
        )
    if invitation.expires_at <= timezone.now():
        raise InvitationError(
            said(
                "This invitation was valid until {expires_at}. {contact} to send it again;"
                " the same link will then work.",
                expires_at=day(invitation.expires_at),
                contact=contact,
            )
        )


def invited_person(invitation: Invitation) -> Person | None:
    """The person who already has an account with the invitation's e-mail address."""
    return Person.objects.filter(email__iexact=invitation.email).first()


def _locked(token: str) -> Invitation:
    invitation = Invitation.objects.select_for_update().get(pk=find_invitation(token).pk)
    check_usable(invitation)
    return invitation


def _join(invitation: Invitation, person: Person) -> Membership:
    membership, _ = Membership.objects.update_or_create(
        person=person,
        program=invitation.program,
        defaults={"role": invitation.role, "active": True},
    )
    past = invitation.person
    invitation.accepted_at = timezone.now()
    invitation.save()
    if past is not None:
        take_over(invitation.program, past, person)
    return membership


@transaction.atomic
def accept_as_new_person(token: str, *, name: str, password: str) -> Membership:
    """Make the sign-in and join. Raises ValidationError for a weak password or a missing name."""
    invitation = _locked(token)
    if invited_person(invitation):
        raise InvitationError(
            said(
                "{invitation_email} already has an account. Sign in to join.",
                invitation_email=invitation.email,
            )
        )
    name = name.strip()
    if not name:
        raise ValidationError(
            {"name": gettext("Type the name that your coordinators know you by.")}
        )
    try:
        validate_password(password, user=Person(email=invitation.email, name=name))
    except ValidationError as weak:
        raise ValidationError({"password": weak.messages}) from weak
    past = invitation.person
    if past is not None and not past.has_account:
        person = Person.objects.give_account(
            past, email=invitation.email, name=name, password=password
        )
    else:
        person = Person.objects.create_person(email=invitation.email, name=name, password=password)
    return _join(invitation, person)


@transaction.atomic
def accept_as(person: Person, token: str) -> Membership:
    """Add a person who has an account to the program of the invitation."""
    invitation = _locked(token)
    if person.email.lower() != invitation.email.lower():
        raise InvitationError(
            said(
                "This invitation is for {invitation_email}, and you are signed in as "
                "{person_email}. Sign out and open the link again, or ask for an "
                "invitation to your own address.",
                invitation_email=invitation.email,
                person_email=person.email,
            )
        )
    return _join(invitation, person)
