"""What can be said of each recording under review: calls confirmed by ear, and those that wait."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from accounts.models import Membership
from surveys.models import BlindListening, CallIndex, Species, Visit
from surveys.visits.confirmable import CONFIRMABLE, vouchers


@dataclass(frozen=True, kw_only=True)
class BlindSummary:
    """What people heard in a recording who did not see the sheet: names of species. `missing` are
    agreed species that the sheet has no index of at the stop; `unheard` those that it has, and
    that none of them named."""

    listeners: int
    finished: bool
    agreed: tuple[str, ...]
    disputed: tuple[str, ...]
    missing: tuple[str, ...]
    unheard: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class ConfirmableCalls:
    """Calls of the sheet at the stop of a recording. `can_confirm` is false for visits of one's
    own and for visits that are not handed in or accepted."""

    confirmed: tuple[CallIndex, ...]
    waiting: tuple[CallIndex, ...]
    can_confirm: bool
    blind: BlindSummary | None


def confirmable_calls(member: Membership, visit: Visit) -> dict[uuid.UUID, ConfirmableCalls]:
    """By the id of each voucher recording. A confirmed call stands at the
    recording in which it was heard."""
    calls = list(
        CallIndex.objects.filter(period__visit=visit, index__isnull=False)
        .select_related("species", "period", "confirmation__by")
        .order_by("species__common_name")
    )
    may_confirm = visit.state in CONFIRMABLE
    others = visit.observer_id != member.person_id
    blind = _blind_summaries(visit, calls)
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
            blind=blind.get(recording.pk),
        )
        for recording in vouchers(member, visit)
    }


def _blind_summaries(visit: Visit, calls: Sequence[CallIndex]) -> dict[uuid.UUID, BlindSummary]:
    listenings = (
        BlindListening.objects.filter(recording__visit=visit)
        .select_related("recording")
        .prefetch_related("answers__calls__species")
    )
    codes = {code for one in listenings for code in (*one.agreed, *one.disputed)}
    names = {row.code: row.name for row in Species.objects.filter(code__in=codes)}
    return {one.pk: _blind_summary(one, calls, names) for one in listenings}


def _blind_summary(
    listening: BlindListening, calls: Sequence[CallIndex], names: Mapping[str, str]
) -> BlindSummary:
    written = {
        call.species.code: call.species.name
        for call in calls
        if call.period.stop_id == listening.recording.stop_id
    }
    named = {
        call.species.code for answer in listening.answers.all() for call in answer.calls.all()
    } | {*listening.agreed, *listening.disputed}
    return BlindSummary(
        listeners=len(listening.answers.all()),
        finished=listening.finished_at is not None,
        agreed=tuple(
            names[code] if index is None else f"{names[code]} ({index})"
            for code, index in listening.agreed.items()
        ),
        disputed=tuple(names[code] for code in listening.disputed),
        missing=tuple(names[code] for code in listening.agreed if code not in written),
        unheard=tuple(
            name
            for code, name in written.items()
            if listening.finished_at is not None and code not in named
        ),
    )
