"""A program's reference calls: parts of confirmed recordings, and of files that were brought in."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import BinaryIO

from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from accounts.access import Permission, may, require
from accounts.models import Membership
from surveys import bounded
from surveys.language import gettext, said
from surveys.models import Confirmation, Program, Recording, ReferenceCall, Species
from surveys.visits.exceptions import NotYours, RecordingRefused, RecordingTooLarge
from surveys.visits.media.audio_formats import MAX_BYTES, megabytes
from surveys.visits.media.files import delete_files_on_commit, storage_path
from surveys.visits.media.quota import check_room
from surveys.visits.media.recording_access import find_recording
from surveys.visits.media.sound_messages import WORK, MadeReference, asked, made_reference
from surveys.visits.media.whole_files import media_type_of_upload

MEDIA_TYPE, FILE_EXTENSION = "audio/mp4", "m4a"
LONGEST_S = 20.0
MOST_OF_A_SPECIES = 5
# Somebody waits for it.
_LIMITS = bounded.Limits(seconds=15, cpu_seconds=5, memory_bytes=500 * 1024**2)


@dataclass(frozen=True, kw_only=True)
class Terms:
    """Under which license a reference call is kept, how whoever recorded it agreed, and who that
    is, where no visit says so."""

    license: str
    consent: str
    credit: str = ""
    air_celsius: float | None = None


def heard_references(member: Membership) -> QuerySet[ReferenceCall]:
    """Reference calls that the member may hear: everybody who may see seasons, so no partner.

    One whose recording is no longer confirmed is left out.
    """
    if not may(member, Permission.READ_SEASONS):
        return ReferenceCall.objects.none()
    return kept_references(member.program).filter(is_confirmed=True)


def kept_references(program: Program) -> QuerySet[ReferenceCall]:
    """All of a program, with `is_confirmed`: whether its recording, if it is taken from one, is
    confirmed by ear for the species."""
    confirmed = Confirmation.objects.filter(
        recording=OuterRef("recording"), call__species=OuterRef("species")
    )
    return (
        program.reference_calls.annotate(is_confirmed=Q(recording=None) | Exists(confirmed))
        .select_related("species", "recording__visit__observer", "added_by")
        .order_by("species__common_name", "added_at", "pk")
    )


def find_reference(member: Membership, reference_id: uuid.UUID) -> ReferenceCall:
    """A reference call to listen to. Raises NotYours."""
    reference = heard_references(member).filter(pk=reference_id).first()
    if reference is None:
        raise NotYours(gettext("There is no such reference call, or it is not yours to hear."))
    return reference


def confirmed_species(recording: Recording) -> QuerySet[Species]:
    """Species that somebody confirmed by ear in a recording."""
    return Species.objects.filter(
        pk__in=Confirmation.objects.filter(recording=recording).values("call__species")
    ).order_by("common_name")


def mark_reference(
    member: Membership,
    recording_id: uuid.UUID,
    *,
    species: str,
    begin_s: float,
    end_s: float,
    terms: Terms,
) -> ReferenceCall:
    """Keep a part of a recording as a reference call of a species that was confirmed in it.

    Raises NotYours, RecordingRefused, NoRoomLeft.
    """
    require(member, Permission.MANAGE)
    recording = find_recording(member, recording_id)
    shown = confirmed_species(recording).filter(code=species).first()
    if shown is None:
        raise RecordingRefused(
            gettext(
                "That species is not confirmed in this recording. Confirm it by ear on the page "
                "of the visit first."
            )
        )
    reference = ReferenceCall(species=shown, recording=recording, begin_s=begin_s, end_s=end_s)
    with recording.audio.open("rb") as file:
        return _keep(member, reference, file, recording.media_type, terms)


def bring_reference(
    member: Membership,
    species: str,
    upload: UploadedFile,
    *,
    begin_s: float,
    end_s: float,
    terms: Terms,
) -> ReferenceCall:
    """Keep a part of a file from elsewhere as a reference call.

    Raises NotYours, RecordingRefused, RecordingTooLarge, NoRoomLeft.
    """
    require(member, Permission.MANAGE)
    shown = Species.objects.known_to(member.program).filter(code=species).first()
    if shown is None:
        raise NotYours(gettext("There is no such species."))
    if upload.size is not None and upload.size > MAX_BYTES:
        raise RecordingTooLarge(
            said("A sound file may have {most}. Send a shorter part.", most=megabytes(MAX_BYTES))
        )
    media_type = media_type_of_upload(upload)
    upload.seek(0)
    reference = ReferenceCall(species=shown, begin_s=begin_s, end_s=end_s, credit=terms.credit)
    return _keep(member, reference, upload.file, media_type, terms)


def air_at(recording: Recording) -> float | None:
    """The air temperature at the stop of a recording, or at the start of the visit, in °C."""
    visit = recording.visit
    at_stop = (
        period.air_temperature_c
        for period in visit.periods.all()
        if recording.stop_id is not None and period.stop_id == recording.stop_id
    )
    readings = (*at_stop, visit.start_air_temperature_c)
    return next((float(air) for air in readings if air is not None), None)


@transaction.atomic
def remove_reference(member: Membership, reference_id: uuid.UUID) -> Species:
    """Delete a reference call with its sound. Raises NotYours."""
    require(member, Permission.MANAGE)
    reference = (
        member.program.reference_calls.select_for_update(of=("self",))
        .select_related("species")
        .filter(pk=reference_id)
        .first()
    )
    if reference is None:
        raise NotYours(gettext("There is no such reference call. It may already be deleted."))
    delete_files_on_commit([reference.audio, reference.image])
    reference.delete()
    return reference.species


def _keep(
    member: Membership, reference: ReferenceCall, file: BinaryIO, media_type: str, terms: Terms
) -> ReferenceCall:
    """Read the part before anything is locked, then check and write."""
    _check_number(member, reference.species)
    found = _made(file, media_type, reference.begin_s, reference.end_s)
    size = len(found.audio) + len(found.image)
    check_room(member, size)
    with transaction.atomic():
        Program.objects.select_for_update().get(pk=member.program_id)
        _check_number(member, reference.species)
        reference.program, reference.added_by = member.program, member.person
        reference.seconds, reference.measures = found.seconds, found.measures
        reference.end_s = reference.begin_s + found.seconds
        reference.bytes, reference.air_celsius = size, terms.air_celsius
        reference.license, reference.consent = terms.license, terms.consent
        name = storage_path(str(reference.pk))
        reference.audio.save(f"{name}.{FILE_EXTENSION}", ContentFile(found.audio), save=False)
        reference.image.save(f"{name}.png", ContentFile(found.image), save=False)
        reference.save()
    return reference


def _check_number(member: Membership, species: Species) -> None:
    if member.program.reference_calls.filter(species=species).count() >= MOST_OF_A_SPECIES:
        raise RecordingRefused(
            said(
                "A species has room for {most} reference calls. Delete one first.",
                most=MOST_OF_A_SPECIES,
            )
        )


def _made(file: BinaryIO, media_type: str, begin_s: float, end_s: float) -> MadeReference:
    before = asked(media_type=media_type, begin_s=begin_s, end_s=end_s)
    try:
        return made_reference(bounded.run_file(WORK, "reference", file, _LIMITS, before=before))
    except bounded.RefusedError as refusal:
        raise RecordingRefused(str(refusal)) from None
    except (bounded.OverLimitError, bounded.BrokenError):
        raise RecordingRefused(
            gettext("The sound in this file could not be read. Send it in another format.")
        ) from None
