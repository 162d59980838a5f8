"""Access tokens: creating, listing and revoking a member's own."""

import datetime as dt
from dataclasses import dataclass
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q, QuerySet
from django.shortcuts import get_object_or_404
from django.utils import timezone

from accounts.access import (
    Permission,
    may_have_exact_places,
    require,
)
from accounts.models import (
    AccessToken,
    Membership,
    Scope,
)
from surveys.language import gettext, said

LIFETIMES_DAYS = (30, 90, 365)
MAX_TOKENS = 20
# The last use is recorded to the hour, to save a write at each request.
_LAST_USE_PRECISION = dt.timedelta(hours=1)


@dataclass(frozen=True, kw_only=True)
class NewToken:
    """A new token. `secret` cannot be read again later: the row holds only a hash of it."""

    token: AccessToken
    secret: str


def tokens_of(member: Membership) -> QuerySet[AccessToken]:
    return member.tokens.order_by("-created")


@transaction.atomic
def make_token(member: Membership, *, name: str, scope: str, days: int) -> NewToken:
    """Create a token for this member and program that expires after `days` days.

    Raises PermissionDenied, or ValidationError by field.
    """
    require(member, Permission.READ_RESULTS)
    Membership.objects.select_for_update().get(pk=member.pk)
    if scope not in Scope.values:
        raise ValidationError(
            {"scope": said("“{scope}” is not something a token can open.", scope=scope)}
        )
    if scope == Scope.EXACT and not may_have_exact_places(member):
        raise ValidationError(
            {
                "scope": gettext(
                    "You do not have access to exact locations in this program. Ask a "
                    "coordinator, or choose records with blurred locations."
                )
            }
        )
    if days not in LIFETIMES_DAYS:
        raise ValidationError({"days": gettext("Choose how long the token is valid.")})
    if not name.strip():
        raise ValidationError(
            {"name": gettext("Say what the token is for, such as “yearly report”.")}
        )
    if member.tokens.filter(expiry__gt=timezone.now()).count() >= MAX_TOKENS:
        raise ValidationError(
            said(
                "You have {max_tokens} valid tokens. Revoke one that you no longer need.",
                max_tokens=MAX_TOKENS,
            )
        )
    token, secret = AccessToken.objects.create(
        user=member.person,
        expiry=dt.timedelta(days=days),
        membership=member,
        name=name.strip(),
        scope=scope,
    )
    return NewToken(token=token, secret=secret)


@transaction.atomic
def revoke_token(member: Membership, handle: UUID) -> str:
    """Delete a token of the member and return its name. Raises Http404."""
    token = get_object_or_404(member.tokens, handle=handle)
    token.delete()
    return token.name


def note_use(token: AccessToken) -> None:
    now = timezone.now()
    stale = Q(last_used_at=None) | Q(last_used_at__lt=now - _LAST_USE_PRECISION)
    AccessToken.objects.filter(stale, pk=token.pk).update(last_used_at=now)
