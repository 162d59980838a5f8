"""A sound file that comes whole, with a form, as the phone's recordings come in pieces."""

from __future__ import annotations

import hashlib
import uuid

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction

from accounts.models import Membership
from surveys.models import Recording
from surveys.visits.exceptions import RecordingRefused
from surveys.visits.media.recordings import (
    Announced,
    add_piece,
    begin_recording,
    put_together,
)
from surveys.visits.media.sound_kinds import (
    HEAD_BYTES,
    MEDIA_TYPES,
    begins_like,
)

LENGTH_UNKNOWN = 0.0


def keep_whole(
    member: Membership,
    visit_id: uuid.UUID,
    *,
    upload: UploadedFile,
    kind: str,
    stop: int | None = None,
    species: str = "",
) -> Recording:
    """Keep a sound file for the member's own visit. What it is, its first bytes say.

    Raises NotYours, RecordingRefused, RecordingTooLarge.
    """
    announced = Announced(
        id=uuid.uuid4(),
        visit=visit_id,
        kind=kind,
        media_type=_media_type(upload),
        seconds=LENGTH_UNKNOWN,
        bytes=upload.size,
        sha256=_sha256(upload),
        stop=stop,
        species=species,
    )
    with transaction.atomic():
        begun = begin_recording(member, announced)
        add_piece(member, begun.pk, offset=0, content=upload.file, length=upload.size)
        put_together(begun.pk)
    begun.refresh_from_db()
    return begun


def _media_type(upload: UploadedFile) -> str:
    upload.seek(0)
    head = upload.read(HEAD_BYTES)
    for media_type in MEDIA_TYPES:
        if begins_like(media_type, head):
            return media_type
    raise RecordingRefused(
        "This is not a sound file that is taken here. Send WAV, MP3, M4A, Ogg or WebM."
    )


def _sha256(upload: UploadedFile) -> str:
    digest = hashlib.sha256()
    for block in upload.chunks():
        digest.update(block)
    return digest.hexdigest()
