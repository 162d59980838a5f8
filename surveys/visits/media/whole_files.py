"""Audio files uploaded whole with a form, while phones upload recordings in pieces."""

from __future__ import annotations

import hashlib
import uuid

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction

from accounts.models import Membership
from surveys.language import gettext
from surveys.models import Recording
from surveys.visits.exceptions import RecordingRefused
from surveys.visits.media.audio_formats import (
    MEDIA_TYPES,
    SIGNATURE_BYTES,
    has_signature_of,
)
from surveys.visits.media.recordings import (
    RecordingAnnouncement,
    add_piece,
    assemble_recording,
    begin_recording,
)

LENGTH_UNKNOWN = 0.0


def store_whole_file(
    member: Membership,
    visit_id: uuid.UUID,
    *,
    upload: UploadedFile,
    kind: str,
    stop: int | None = None,
    species: str = "",
) -> Recording:
    """Store an audio file for the member's own visit. Its signature tells its media type.

    Raises NotYours, RecordingRefused, RecordingTooLarge.
    """
    announced = RecordingAnnouncement(
        id=uuid.uuid4(),
        visit=visit_id,
        kind=kind,
        media_type=media_type_of_upload(upload),
        seconds=LENGTH_UNKNOWN,
        bytes=upload.size,
        sha256=_sha256(upload),
        stop=stop,
        species=species,
    )
    with transaction.atomic():
        recording = begin_recording(member, announced)
        add_piece(member, recording.pk, offset=0, content=upload.file, length=upload.size)
        assemble_recording(recording.pk)
    recording.refresh_from_db()
    return recording


def media_type_of_upload(upload: UploadedFile) -> str:
    """By its signature. Raises RecordingRefused."""
    upload.seek(0)
    head = upload.read(SIGNATURE_BYTES)
    for media_type in MEDIA_TYPES:
        if has_signature_of(media_type, head):
            return media_type
    raise RecordingRefused(
        gettext("We cannot use this kind of sound file. Send WAV, FLAC, MP3, M4A, Ogg or WebM.")
    )


def _sha256(upload: UploadedFile) -> str:
    digest = hashlib.sha256()
    for block in upload.chunks():
        digest.update(block)
    return digest.hexdigest()
