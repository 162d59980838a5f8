"""What can be said of each recording under review: calls confirmed by ear, and those that wait."""

from __future__ import annotations

import uuid
from dataclasses import dataclass

from accounts.models import Membership
from surveys.models import CallIndex, Visit
from surveys.visits.confirmable import CONFIRMABLE, vouchers


@dataclass(frozen=True, kw_only=True)
class ConfirmableCalls:
    """Calls of the sheet at the stop of a recording. `can_confirm` is false for visits of one's
    own and for visits that are not handed in or accepted."""

    confirmed: tuple[CallIndex, ...]
    waiting: tuple[CallIndex, ...]
    can_confirm: bool


def confirmable_calls(member: Membership, visit: Visit) -> dict[uuid.UUID, ConfirmableCalls]:
    """By the id of each voucher recording, in two queries. A confirmed call stands at the
    recording in which it was heard."""
    calls = list(
        CallIndex.objects.filter(period__visit=visit, index__isnull=False)
        .select_related("species", "period", "confirmation__by")
        .order_by("species__common_name")
    )
    may_confirm = visit.state in CONFIRMABLE
    others = visit.observer_id != member.person_id
    confirmations = {call.pk: getattr(call, "confirmation", None) for call in calls}
    return {
        recording.pk: ConfirmableCalls(
            confirmed=tuple(
                call
                for call in calls
                if (found := confirmations[call.pk]) and found.recording_id == recording.pk
            ),
            waiting=tuple(
                call
                for call in calls
                if call.period.stop_id == recording.stop_id and not confirmations[call.pk]
            ),
            can_confirm=may_confirm and others,
        )
        for recording in vouchers(member, visit)
    }
