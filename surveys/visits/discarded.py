"""Discarded drafts stay discarded, even when a delayed request for one arrives later."""

from __future__ import annotations

import datetime as dt
import uuid

from django.db import connection

from accounts.models import Membership
from surveys.models import DiscardedDraft
from surveys.visits.exceptions import DraftDiscarded

# Creating and discarding a draft exclude each other, even before there is a row to lock.
_LOCK_ID = "SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))"


def lock_draft_id(visit_id: uuid.UUID) -> None:
    """Wait for transactions that create or discard the draft of that id, then hold its lock."""
    with connection.cursor() as cursor:
        cursor.execute(_LOCK_ID, [str(visit_id)])


def note_discarded(member: Membership, visit_id: uuid.UUID) -> None:
    """Remember that the member discarded the draft. Idempotent."""
    DiscardedDraft.objects.get_or_create(visit_id=visit_id, observer=member.person)


def check_not_discarded(
    member: Membership, visit_id: uuid.UUID, recovers: dt.datetime | None = None
) -> None:
    """Raise DraftDiscarded if the member discarded the draft of that id.

    When `recovers` is the exact time at which it was discarded, forget that instead, so that
    the draft can be created again.
    """
    discarded = DiscardedDraft.objects.filter(visit_id=visit_id, observer=member.person).first()
    if discarded is None:
        return
    if discarded.discarded_at != recovers:
        raise DraftDiscarded(discarded.discarded_at)
    discarded.delete()


def discarded_ids(member: Membership) -> set[uuid.UUID]:
    return set(member.person.discarded_drafts.values_list("visit_id", flat=True))
