"""Accepting many visits at once."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass

from django.db import transaction

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.models import Visit
from surveys.visits import verbs
from surveys.visits.exceptions import NotYours, VisitError
from surveys.visits.queue import QueueFilters, without_questions

# So many are accepted in one transaction: some seconds.
MOST_AT_ONCE = 200


@dataclass(frozen=True, kw_only=True)
class Accepted:
    accepted: int
    # Not as they were shown: changed, decided or claimed by somebody since.
    left: tuple[Visit, ...]


@transaction.atomic
def accept_without_questions(member: Membership, revisions: Mapping[uuid.UUID, int]) -> Accepted:
    """Accept visits without questions, each as in `verbs.accept`, at the revision that was shown.

    A visit that is no longer as it was shown is left, and so is one with a question.
    """
    require(member, Permission.REVIEW)
    plain = without_questions(member, QueueFilters()).filter(pk__in=list(revisions))
    accepted = set()
    for visit_id in plain.values_list("pk", flat=True)[:MOST_AT_ONCE]:
        try:
            with transaction.atomic():
                verbs.accept(member, visit_id, revision=revisions[visit_id])
        except (VisitError, NotYours):
            continue
        accepted.add(visit_id)
    left = Visit.objects.filter(
        pk__in=revisions.keys() - accepted, route__program=member.program_id
    ).select_related("route")
    return Accepted(accepted=len(accepted), left=tuple(left.order_by("night", "pk")))
