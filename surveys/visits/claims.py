"""Claims: a coordinator tells the others which visits they are reviewing.

A claim ends by itself. It forbids nothing: the revision of a visit keeps two people from
overwriting each other.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.models import ReviewClaim, Visit, VisitState

CLAIM_LASTS = dt.timedelta(minutes=30)


@transaction.atomic
def claim(member: Membership, visit_ids: Iterable[uuid.UUID]) -> int:
    """Claim waiting visits that nobody else has claimed. Returns how many are now the member's."""
    require(member, Permission.REVIEW)
    waiting = Visit.objects.filter(
        pk__in=list(visit_ids), route__program=member.program_id, state=VisitState.SUBMITTED
    ).order_by("pk")
    locked = [visit.pk for visit in waiting.select_for_update(of=["self"])]
    taken = set(claimed_by_others(member).filter(visit__in=locked).values_list("visit", flat=True))
    until = timezone.now() + CLAIM_LASTS
    claims = [
        ReviewClaim(visit_id=pk, by=member.person, until=until) for pk in locked if pk not in taken
    ]
    ReviewClaim.objects.bulk_create(
        claims, update_conflicts=True, unique_fields=["visit"], update_fields=["by", "until"]
    )
    return len(claims)


def release(member: Membership, visit_ids: Iterable[uuid.UUID]) -> None:
    """End the member's own claims of these visits."""
    require(member, Permission.REVIEW)
    _claims(member).filter(visit__in=list(visit_ids), by=member.person_id).delete()


def claimed_by_others(member: Membership) -> QuerySet[ReviewClaim]:
    return current_claims(member).filter(~Q(by=member.person_id))


def current_claims(member: Membership) -> QuerySet[ReviewClaim]:
    return _claims(member).filter(until__gt=timezone.now())


def _claims(member: Membership) -> QuerySet[ReviewClaim]:
    return ReviewClaim.objects.filter(visit__route__program=member.program_id)
