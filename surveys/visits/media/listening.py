"""Who may hear which recordings: a voice says who somebody is."""

from __future__ import annotations

import uuid

from django.db.models import F, QuerySet

from accounts.access import (
    Permission,
    may,
)
from accounts.models import Membership
from surveys.models import (
    Recording,
    RecordingState,
    Visit,
)
from surveys.visits.exceptions import NotYours


def audible_recordings(member: Membership) -> QuerySet[Recording]:
    """Complete recordings that the member may hear: one's own, and all of the program for
    coordinators. Other observers do not hear them."""
    found = Recording.objects.filter(
        visit__route__program=member.program_id, state=RecordingState.COMPLETE
    )
    if may(member, Permission.REVIEW):
        return found
    if may(member, Permission.SURVEY):
        return found.filter(visit__observer=member.person_id)
    return found.none()


def find_recording(member: Membership, recording_id: uuid.UUID) -> Recording:
    """A recording to listen to. Raises NotYours."""
    found = audible_recordings(member).select_related("visit__route", "stop", "species")
    recording = found.filter(pk=recording_id).first()
    if recording is None:
        raise NotYours("There is no such recording, or it is not yours to hear.")
    return recording


def recordings_of(member: Membership, visit: Visit) -> QuerySet[Recording]:
    """The recordings of a visit that the member may hear, stop by stop."""
    found = audible_recordings(member).filter(visit=visit).select_related("stop", "species")
    return found.order_by(F("stop__number").asc(nulls_first=True), "recorded_at", "begun_at", "pk")


def on_their_way(member: Membership, visit: Visit) -> int:
    """How many recordings of one's own visit have begun to arrive and are not complete."""
    if visit.observer_id != member.person_id and not may(member, Permission.REVIEW):
        return 0
    return visit.recordings.filter(state=RecordingState.ARRIVING).count()
