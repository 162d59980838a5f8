"""Drafts that were thrown away stay away, also when a request for one arrives late."""

from __future__ import annotations

import datetime as dt
import uuid

from django.db import connection

from accounts.models import Membership
from surveys.models import DiscardedDraft
from surveys.visits.exceptions import DraftDiscarded

# Beginning a draft and throwing it away take turns, though there is no row to lock yet.
_TAKE_TURNS = "SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))"


def take_turns(visit_id: uuid.UUID) -> None:
    """Wait for whoever begins or throws away the draft of that id, until the transaction ends."""
    with connection.cursor() as cursor:
        cursor.execute(_TAKE_TURNS, [str(visit_id)])


def note_discarded(member: Membership, visit_id: uuid.UUID) -> None:
    """The same again changes nothing."""
    DiscardedDraft.objects.get_or_create(visit_id=visit_id, observer=member.person)


def check_not_discarded(
    member: Membership, visit_id: uuid.UUID, recovers: dt.datetime | None = None
) -> None:
    """Raises DraftDiscarded, unless `recovers` is the very time at which the observer threw the
    draft away: then it may be begun again."""
    found = DiscardedDraft.objects.filter(visit_id=visit_id, observer=member.person).first()
    if found is None:
        return
    if found.discarded_at != recovers:
        raise DraftDiscarded(found.discarded_at)
    found.delete()


def discarded_ids(member: Membership) -> set[uuid.UUID]:
    return set(member.person.discarded_drafts.values_list("visit_id", flat=True))
