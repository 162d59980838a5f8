"""Who may hear which recordings. A voice can identify a person."""

from __future__ import annotations

import uuid

from django.db.models import F, QuerySet

from accounts.access import (
    Permission,
    may,
)
from accounts.models import Membership
from surveys.language import gettext
from surveys.models import (
    Recording,
    RecordingPicture,
    RecordingState,
    Visit,
)
from surveys.visits.exceptions import NotYours


def audible_recordings(member: Membership) -> QuerySet[Recording]:
    """Complete recordings that the member may hear: for observers their own, for coordinators
    all of the program."""
    recordings = Recording.objects.filter(
        visit__route__program=member.program_id, state=RecordingState.COMPLETE
    )
    if may(member, Permission.REVIEW):
        return recordings
    if may(member, Permission.SURVEY):
        return recordings.filter(visit__observer=member.person_id)
    return recordings.none()


def find_recording(member: Membership, recording_id: uuid.UUID) -> Recording:
    """A recording to listen to. Raises NotYours."""
    recordings = audible_recordings(member).select_related(
        "visit__route", "stop", "species", "picture"
    )
    recording = recordings.filter(pk=recording_id).first()
    if recording is None:
        raise NotYours(gettext("There is no such recording, or it is not yours to hear."))
    return recording


def find_picture(member: Membership, recording_id: uuid.UUID) -> RecordingPicture:
    """The picture of a recording that the member may hear. Raises NotYours."""
    pictures = RecordingPicture.objects.filter(recording__in=audible_recordings(member), problem="")
    picture = pictures.filter(pk=recording_id).first()
    if picture is None:
        raise NotYours(gettext("There is no such picture, or it is not yours to see."))
    return picture


def recordings_of(member: Membership, visit: Visit) -> QuerySet[Recording]:
    """The recordings of a visit that the member may hear, ordered by stop."""
    recordings = audible_recordings(member).filter(visit=visit)
    recordings = recordings.select_related("stop", "species", "picture")
    return recordings.order_by(
        F("stop__number").asc(nulls_first=True), "recorded_at", "begun_at", "pk"
    )


def count_arriving_recordings(member: Membership, visit: Visit) -> int:
    """The number of incomplete uploads of a visit; 0 for members who may not hear them."""
    if visit.observer_id != member.person_id and not may(member, Permission.REVIEW):
        return 0
    return visit.recordings.filter(state=RecordingState.ARRIVING).count()
