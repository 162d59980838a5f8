"""Which calls can be confirmed by ear, from which recording."""

from __future__ import annotations

import uuid

from django.db.models import QuerySet

from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import CallIndex, Confirmation, Recording, RecordingKind, Visit, VisitState
from surveys.visits.exceptions import NotConfirmable
from surveys.visits.media.recording_access import recordings_of

CONFIRMABLE = [VisitState.SUBMITTED, VisitState.ACCEPTED]


def call_to_confirm(
    member: Membership, visit: Visit, recording_id: uuid.UUID, species: str
) -> tuple[Recording, CallIndex]:
    """The recording, and the call at its stop. Raises NotConfirmable, in words."""
    if visit.observer_id == member.person_id:
        raise NotConfirmable(
            gettext("This visit is your own. Someone else has to confirm its calls.")
        )
    recording = vouchers(member, visit).filter(pk=recording_id).first()
    if recording is None:
        raise NotConfirmable
    call = (
        CallIndex.objects.filter(
            period__visit=visit, period__stop=recording.stop_id, species__code=species
        )
        .select_related("species", "period__stop")
        .first()
    )
    if call is None or call.index is None:
        raise NotConfirmable(
            said(
                "The sheet has no call index of that species at stop {stop_number}. If it"
                " is in the recording, correct the sheet first.",
                stop_number=recording.stop.number,
            )
        )
    if Confirmation.objects.filter(call=call).exists():
        raise NotConfirmable(gettext("This call is confirmed already."))
    return recording, call


def vouchers(member: Membership, visit: Visit) -> QuerySet[Recording]:
    """Complete recordings of what called at a stop of the visit, that the member may hear."""
    return recordings_of(member, visit).filter(kind=RecordingKind.VOUCHER, stop__isnull=False)
