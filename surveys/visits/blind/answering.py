"""Answers of people who hear a recording without its sheet, and what follows from them."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping

from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.utils import timezone

from accounts.access import Permission, require
from accounts.models import Membership
from surveys.language import gettext, said
from surveys.models import (
    BlindAnswer,
    BlindCall,
    BlindListening,
    CallIndex,
    Confirmation,
    Program,
    Recording,
    ReviewStep,
    Species,
    Step,
    Visit,
)
from surveys.visits.blind.verdict import Answer, verdict
from surveys.visits.blind.waiting import may_listen, waiting_recordings
from surveys.visits.exceptions import NotYours
from surveys.visits.joint_entries import members_by_joint_entry
from surveys.visits.loading import checklist_on
from surveys.visits.refitting import refit_trends


def let_tested_observers_listen(member: Membership, allowed: bool) -> Program:
    """Whether observers with a valid call-identification test may hear recordings of others."""
    require(member, Permission.MANAGE)
    with transaction.atomic():
        program = Program.objects.select_for_update().get(pk=member.program_id)
        program.tested_observers_listen = allowed
        program.save(update_fields=["tested_observers_listen"])
    return program


def check_may_listen(member: Membership) -> None:
    """Raises PermissionDenied, in words."""
    require(member, Permission.SURVEY)
    if may_listen(member):
        return
    if member.program.tested_observers_listen:
        raise PermissionDenied(
            gettext(
                "To hear recordings of others, you need a valid call-identification test. Ask a "
                "coordinator of the program."
            )
        )
    raise PermissionDenied(gettext("In this program, only coordinators hear recordings of others."))


def find_waiting(member: Membership, recording_id: uuid.UUID) -> Recording:
    """A recording that the member may hear now, without its sheet. Raises PermissionDenied,
    NotYours."""
    check_may_listen(member)
    recording = (
        waiting_recordings(member)
        .select_related("visit__route__program", "stop", "picture")
        .filter(pk=recording_id)
        .first()
    )
    if recording is None:
        raise NotYours(
            gettext("This recording is not waiting for you. You may have already answered it.")
        )
    return recording


@transaction.atomic
def answer_blindly(
    member: Membership,
    recording_id: uuid.UUID,
    *,
    heard: Mapping[str, int | None],
    usable: bool = True,
    note: str = "",
    now: dt.datetime | None = None,
) -> BlindListening:
    """Store which species the member heard: by code the call index, or None where not sure.

    A species that two listeners name becomes a certain detection if the sheet has it. Nothing on
    the sheet changes. Raises PermissionDenied, NotYours.
    """
    recording = find_waiting(member, recording_id)
    at = now or timezone.now()
    visit = Visit.objects.select_for_update().get(pk=recording.visit_id)
    listening, _ = BlindListening.objects.select_for_update().get_or_create(recording=recording)
    # Another answer may have come since the recording was found waiting.
    find_waiting(member, recording_id)
    answer = BlindAnswer.objects.create(
        listening=listening,
        listener=member.person,
        answered_at=at,
        is_usable=usable,
        note=note.strip(),
    )
    listed = {
        entry.species.code: entry.species
        for entry in checklist_on(recording.visit.route.program, visit.night)
    }
    BlindCall.objects.bulk_create(
        BlindCall(answer=answer, species=listed[code], index=index)
        for code, index in heard.items()
        if usable
    )
    _conclude(listening, at)
    _confirm_agreed(listening, recording, visit, member, at)
    return listening


def _conclude(listening: BlindListening, at: dt.datetime) -> None:
    answers = [
        Answer(
            heard={call.species.code: call.index for call in answer.calls.all() if call.index},
            usable=answer.is_usable,
        )
        for answer in listening.answers.prefetch_related("calls__species")
    ]
    program = listening.recording.visit.route.program
    found = verdict(answers, members_by_joint_entry(Species.objects.known_to(program)))
    listening.agreed, listening.disputed = dict(found.agreed), list(found.disputed)
    listening.finished_at = at if found.finished else None
    listening.save()


def _confirm_agreed(
    listening: BlindListening,
    recording: Recording,
    visit: Visit,
    member: Membership,
    at: dt.datetime,
) -> None:
    """The calls of the sheet that two listeners named; none a second time."""
    new = listening.agreed.keys() - set(listening.confirmed)
    calls = CallIndex.objects.filter(
        period__visit=visit,
        period__stop=recording.stop_id,
        species__code__in=new,
        index__isnull=False,
        confirmation=None,
    ).select_related("species")
    for call in calls:
        Confirmation.objects.create(
            call=call, recording=recording, by=member.person, at=at, without_sheet=True
        )
        listening.confirmed.append(call.species.code)
        # The visit keeps its revision, so that nobody who reviews it now is disturbed.
        ReviewStep.objects.create(
            visit=visit,
            step=Step.CONFIRMED,
            by=member.person,
            at=at,
            revision=visit.revision,
            note=said(
                "{species} at stop {stop}, by two people who did not see the sheet",
                species=call.species.common_name,
                stop=recording.stop.number,
            ),
        )
    if calls:
        listening.save()
    if (calls or listening.finished_at) and visit.counts_in_trends:
        # That nobody named a species tells as much as that two did.
        refit_trends(member.program_id)
