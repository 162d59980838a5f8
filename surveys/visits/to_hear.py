"""Recordings that a coordinator has not dealt with: spoken notes of visits under review, and
vouchers of calls that nobody has confirmed."""

from __future__ import annotations

from django.db.models import Exists, OuterRef, Q, QuerySet

from accounts.models import Membership
from surveys.models import CallIndex, Recording, RecordingKind, VisitState
from surveys.visits.confirmable import CONFIRMABLE
from surveys.visits.media.recording_access import audible_recordings


def recordings_to_hear(member: Membership, season_year: int) -> QuerySet[Recording]:
    """Oldest night first. Notes wait until their visit is accepted; vouchers of the season until
    the call of their species at their stop is confirmed by ear."""
    at_stop = CallIndex.objects.filter(
        period__visit=OuterRef("visit"),
        period__stop=OuterRef("stop"),
        index__isnull=False,
        confirmation=None,
    )
    of_species = at_stop.filter(species=OuterRef("species"))
    notes = Q(kind=RecordingKind.NOTE, visit__state=VisitState.SUBMITTED)
    vouchers = Q(
        Exists(of_species) | Q(Exists(at_stop), species=None),
        kind=RecordingKind.VOUCHER,
        visit__state__in=CONFIRMABLE,
        visit__season_year=season_year,
    )
    return (
        audible_recordings(member)
        .filter(notes | vouchers)
        .exclude(visit__observer=member.person_id, kind=RecordingKind.VOUCHER)
        .select_related("visit__route", "visit__observer", "stop", "species")
        .order_by("visit__night", "visit__route__code", "begun_at", "pk")
    )
