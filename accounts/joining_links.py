"""Joining links: who has one, such as from a poster, asks for an invitation to become an observer.

The link opens nothing by itself. Whoever uses it types an address, and an ordinary invitation is
mailed there: only who reads that mail can join, so nobody joins under another's address. The
answer is the same whatever address is typed; the worker finds out whether it is known.

As with invitations, the token is derived from the row and the server's secret key.
"""

from __future__ import annotations

import datetime as dt
import json

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Count, Q, QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import salted_hmac
from procrastinate.contrib.django import app

from accounts.access import Permission, require
from accounts.invitations import (
    VALID_FOR,
    InvitationError,
    contact_advice,
    make_invitation,
    send_invitation,
)
from accounts.models import Invitation, JoiningLink, Membership, Role, hash_token
from accounts.sealing import seal, unseal
from surveys.dates import day
from surveys.language import gettext, said
from surveys.models import Program
from surveys.runs.queues import MAIL, MAIL_RETRY

LIFETIMES_DAYS = (7, 30, 90, 365)
MOST_USES = 1000
MOST_OPEN_LINKS = 20
_PURPOSE = "joining"


def _token(link: JoiningLink) -> str:
    facts = f"{link.program_id}:{link.created_at.astimezone(dt.UTC).isoformat()}"
    return salted_hmac("accounts.joining_links", facts, algorithm="sha256").hexdigest()[:40]


def url_of(link: JoiningLink, site_url: str) -> str:
    path = reverse("web:join_by_link", kwargs={"token": _token(link)})
    return site_url.rstrip("/") + path


def _with_places(links: QuerySet[JoiningLink]) -> QuerySet[JoiningLink]:
    """With `taken`: people who joined, and invitations that wait for theirs."""
    waits = Q(
        invitations__accepted_at=None,
        invitations__withdrawn_at=None,
        invitations__expires_at__gt=timezone.now(),
    )
    joined = Q(invitations__accepted_at__isnull=False)
    return links.annotate(
        joined=Count("invitations", filter=joined),
        taken=Count("invitations", filter=joined | waits),
    )


# --- By coordinators --------------------------------------------------------------


def links_of(program: Program) -> list[JoiningLink]:
    """Links that were not withdrawn and have not ended long ago, newest first."""
    recent = program.joining_links.filter(
        withdrawn_at=None, expires_at__gt=timezone.now() - VALID_FOR
    )
    return list(_with_places(recent).select_related("created_by"))


def link_of(member: Membership, link_id: int) -> JoiningLink:
    """A link of the member's own program that can still be used. Raises Http404."""
    require(member, Permission.MANAGE)
    return get_object_or_404(
        member.program.joining_links.filter(withdrawn_at=None, expires_at__gt=timezone.now()),
        pk=link_id,
    )


@transaction.atomic
def make_link(member: Membership, *, name: str, days: int, most_uses: int) -> JoiningLink:
    """Raises ValidationError by field."""
    require(member, Permission.MANAGE)
    program = Program.objects.select_for_update().get(pk=member.program_id)
    if days not in LIFETIMES_DAYS:
        raise ValidationError({"days": gettext("Choose how long the link is valid.")})
    if not 1 <= most_uses <= MOST_USES:
        raise ValidationError(
            {"most_uses": said("Choose a number from 1 to {most}.", most=MOST_USES)}
        )
    if not name.strip():
        raise ValidationError(
            {"name": gettext("Say what the link is for, such as “spring workshop”.")}
        )
    now = timezone.now()
    if program.joining_links.filter(withdrawn_at=None, expires_at__gt=now).count() >= (
        MOST_OPEN_LINKS
    ):
        raise ValidationError(
            said(
                "There are {most} valid links already. Revoke one that you no longer need.",
                most=MOST_OPEN_LINKS,
            )
        )
    link = JoiningLink(
        program=program,
        name=name.strip(),
        most_uses=most_uses,
        created_by=member.person,
        created_at=now,
        expires_at=now + dt.timedelta(days=days),
    )
    link.token_hash = hash_token(_token(link))
    link.full_clean(exclude=["program", "created_by"])
    link.save()
    return link


@transaction.atomic
def withdraw_link(member: Membership, link_id: int) -> JoiningLink:
    """The link opens nothing any more. Invitations that were asked for by it stay."""
    link = link_of(member, link_id)
    link.withdrawn_at = timezone.now()
    link.save(update_fields=["withdrawn_at"])
    return link


# --- By whoever has the link ------------------------------------------------------


def find_link(token: str) -> JoiningLink:
    """Raises Http404 for an unknown token."""
    links = JoiningLink.objects.select_related("program", "created_by")
    link = links.filter(token_hash=hash_token(token)).first()
    if link is None:
        raise Http404(gettext("This link is not valid. Check that it is complete."))
    return link


def check_usable(link: JoiningLink) -> None:
    """Raise InvitationError when the link was withdrawn, is too old, or has no place left."""
    advice = contact_advice(link.program)
    if link.withdrawn_at or link.expires_at <= timezone.now():
        ended = min(filter(None, (link.withdrawn_at, link.expires_at)))
        raise InvitationError(
            said(
                "This link was valid until {day}. {advice} for a new one.",
                day=day(ended),
                advice=advice,
            )
        )
    if _with_places(JoiningLink.objects.filter(pk=link.pk)).get().taken >= link.most_uses:
        raise InvitationError(
            said(
                "Everyone who can join with this link has done so. {advice} for a new one.",
                advice=advice,
            )
        )


def ask_to_join(link: JoiningLink, *, email: str, name: str, site_url: str) -> None:
    """Have the worker mail an invitation. The request does the same for every address."""
    check_usable(link)
    asked = json.dumps({"email": email.strip().lower(), "name": name.strip()})
    invite_by_link.defer(link_id=link.pk, sealed=seal(asked, _PURPOSE), site_url=site_url)


@app.task(name="accounts.invite_by_link", queue=MAIL, retry=MAIL_RETRY)
def invite_by_link(*, link_id: int, sealed: str, site_url: str) -> None:
    """Mail an invitation, or an open one again. Members get nothing."""
    asked = json.loads(unseal(sealed, _PURPOSE))
    with transaction.atomic():
        program_id = JoiningLink.objects.values_list("program_id", flat=True).get(pk=link_id)
        program = Program.objects.select_for_update().get(pk=program_id)
        link = JoiningLink.objects.select_related("created_by").get(pk=link_id)
        member = program.memberships.filter(person__email__iexact=asked["email"]).first()
        if member is not None:
            return
        invitation = program.invitations.filter(
            email__iexact=asked["email"], accepted_at=None, withdrawn_at=None
        ).first()
        if invitation is None:
            try:
                check_usable(link)
            except InvitationError:
                return
            invitation = _stored(program, link, **asked)
        elif invitation.expires_at <= timezone.now():
            return
        send_invitation.defer(invitation_id=invitation.pk, site_url=site_url)


def _stored(program: Program, link: JoiningLink, *, email: str, name: str) -> Invitation:
    invitation = make_invitation(
        program,
        email=email,
        name=name,
        role=Role.OBSERVER,
        invited_by=link.created_by,
        by_link=link,
    )
    invitation.save()
    return invitation
