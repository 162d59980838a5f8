"""Stopping mail of a kind, by the link in each of it. It opens nothing else."""

from __future__ import annotations

from dataclasses import dataclass

from django.core import signing
from django.http import Http404
from django.urls import reverse

from accounts.models import Membership
from surveys.language import gettext
from surveys.models import LetterKind, ReminderKind, ReminderStop

_SALT = "surveys.reminders.stopping"

MailKind = ReminderKind | LetterKind


@dataclass(frozen=True, kw_only=True)
class StopLink:
    """Whose mail of which kind a link stops."""

    member: Membership
    kind: MailKind


def stop_url(member: Membership, kind: MailKind, site_url: str) -> str:
    token = signing.dumps([member.pk, kind.value], salt=_SALT)
    return site_url.rstrip("/") + reverse("web:reminder_stop", kwargs={"token": token})


def find_stop_link(token: str) -> StopLink:
    """Raises Http404 for a link that was not made here."""
    try:
        member_id, kind = signing.loads(token, salt=_SALT)
        member = Membership.objects.select_related("program", "person").get(pk=member_id)
        known = LetterKind if kind in LetterKind.values else ReminderKind
        return StopLink(member=member, kind=known(kind))
    except (signing.BadSignature, ValueError, TypeError, Membership.DoesNotExist):
        raise Http404(
            gettext("This link is not valid. Copy the whole link from the email.")
        ) from None


def stop(link: StopLink) -> None:
    """Doing it twice changes nothing."""
    ReminderStop.objects.get_or_create(
        program=link.member.program, person=link.member.person, kind=link.kind
    )


def resume(link: StopLink) -> None:
    ReminderStop.objects.filter(
        program=link.member.program, person=link.member.person, kind=link.kind
    ).delete()


def is_stopped(link: StopLink) -> bool:
    return ReminderStop.objects.filter(
        program=link.member.program, person=link.member.person, kind=link.kind
    ).exists()
