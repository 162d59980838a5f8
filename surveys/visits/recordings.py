"""Recordings of a visit: begun with what the phone says of them, filled piece by piece.

The pieces are files of their own until the last one is there, because storages such as
S3 cannot add to a file. Every verb locks the recording's row before it looks how far the
upload has come, so that a piece sent twice, or by two tabs, is kept once.
"""

from __future__ import annotations

import hashlib
import tempfile
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from django.core.files.base import File
from django.db import transaction
from django.db.models import F, QuerySet
from django.utils import timezone

from accounts.access import Permission, may, require
from accounts.models import Membership
from surveys.models import (
    Recording,
    RecordingKind,
    RecordingPiece,
    RecordingState,
    Species,
    Stop,
    Visit,
)
from surveys.visits.exceptions import (
    NotYours,
    OffsetMismatch,
    RecordingDamaged,
    RecordingRefused,
    RecordingTooLarge,
)
from surveys.visits.loading import stops_on
from surveys.visits.photos import forget_files
from surveys.visits.reach import EDITABLE, check_state, lock_own
from surveys.visits.sounds import (
    HEAD_BYTES,
    LARGEST_BYTES,
    LONGEST_S,
    MEDIA_TYPES,
    begins_like,
    ending_of,
    media_type_of,
    megabytes,
)

MOST_A_VISIT = 200
_BLOCK = 64 * 1024
_IN_MEMORY = 1024 * 1024


@dataclass(frozen=True, kw_only=True)
class Announced:
    """What a phone says of a recording before it sends it. `stop` is the stop's number,
    `species` a code; `bytes` the length of the file; `metadata` the header as it came."""

    id: uuid.UUID
    visit: uuid.UUID
    kind: str
    media_type: str
    seconds: float
    bytes: int
    sha256: str
    stop: int | None = None
    species: str = ""
    metadata: str = ""


@transaction.atomic
def begin_recording(member: Membership, announced: Announced) -> Recording:
    """Make room for a recording of the member's own visit, in whatever state that is.

    The same id again gives back the same recording, so that a retry never makes a second
    one. Raises NotYours, RecordingRefused, RecordingTooLarge.
    """
    require(member, Permission.SURVEY)
    visit = lock_own(member, announced.visit)
    _check_announced(announced)
    known = Recording.objects.filter(pk=announced.id).first()
    if known is not None:
        return _same(known, announced, member)
    if visit.recordings.count() >= MOST_A_VISIT:
        raise RecordingRefused(f"A visit has room for {MOST_A_VISIT} recordings.")
    return Recording.objects.create(
        id=announced.id,
        visit=visit,
        stop=_stop(visit, announced.stop),
        species=_species(announced.species),
        kind=announced.kind,
        media_type=media_type_of(announced.media_type),
        seconds=announced.seconds,
        bytes=announced.bytes,
        sha256=announced.sha256,
        upload_metadata=announced.metadata,
        uploaded_by=member.person,
    )


@transaction.atomic
def add_piece(
    member: Membership, recording_id: uuid.UUID, *, offset: int, content: BinaryIO, length: int
) -> Recording:
    """Keep `length` bytes of the member's own recording that begin at `offset`; put the
    recording together when they are the last.

    Raises NotYours, OffsetMismatch, RecordingTooLarge.
    """
    recording = _lock_own(member, recording_id)
    if recording.received != offset:
        raise OffsetMismatch(recording.received)
    if offset + length > recording.bytes:
        raise RecordingTooLarge(
            f"The recording was announced with {recording.bytes} bytes; "
            f"this piece would make it {offset + length}."
        )
    if not length:
        return recording
    piece = RecordingPiece(recording=recording, offset=offset)
    piece.content.save(f"{recording.pk}-{offset}", File(content), save=True)
    recording.received += length
    recording.save(update_fields=["received"])
    return recording


def put_together(member: Membership, recording_id: uuid.UUID) -> Recording:
    """Join the pieces of a recording that has arrived; does nothing while one is missing.

    Raises NotYours and RecordingDamaged: then the upload begins anew, which is kept.
    """
    with transaction.atomic():
        recording = _lock_own(member, recording_id)
        whole = recording.received == recording.bytes
        if not whole or recording.state == RecordingState.COMPLETE:
            return recording
        with tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY) as joined:
            problem = _join(recording, joined)
            if problem is None:
                joined.seek(0)
                name = f"{recording.pk}.{ending_of(recording.media_type)}"
                recording.audio.save(name, File(joined), save=False)
                recording.state = RecordingState.COMPLETE
                recording.completed_at = timezone.now()
            else:
                recording.received = 0
            recording.save()
        _drop_pieces(recording)
    if problem is not None:
        raise problem
    return recording


@transaction.atomic
def remove_recording(member: Membership, recording_id: uuid.UUID) -> None:
    """Take back a recording of one's own: one that still arrives at any time, a complete
    one only while the visit can be changed. Raises NotYours, WrongState."""
    recording = _lock_own(member, recording_id)
    if recording.state == RecordingState.COMPLETE:
        check_state(recording.visit, EDITABLE)
    forget_recordings(Recording.objects.filter(pk=recording.pk))
    recording.delete()


def forget_recordings(recordings: QuerySet[Recording]) -> None:
    """Delete the files of recordings whose rows go with this transaction."""
    pieces = RecordingPiece.objects.filter(recording__in=recordings)
    forget_files([row.audio for row in recordings if row.audio])
    forget_files([piece.content for piece in pieces])


def audible_recordings(member: Membership) -> QuerySet[Recording]:
    """Recordings that the member may hear: one's own, and all of them for coordinators.

    A voice says who somebody is; other observers do not hear it.
    """
    found = Recording.objects.filter(visit__route__programme=member.programme_id)
    if may(member, Permission.REVIEW):
        return found
    if may(member, Permission.SURVEY):
        return found.filter(visit__observer=member.person_id)
    return found.none()


def find_recording(member: Membership, recording_id: uuid.UUID) -> Recording:
    """A complete recording to listen to. Raises NotYours."""
    complete = audible_recordings(member).filter(state=RecordingState.COMPLETE)
    recording = complete.filter(pk=recording_id).first()
    if recording is None:
        raise NotYours("There is no such recording.")
    return recording


def own_upload(member: Membership, recording_id: uuid.UUID) -> Recording:
    """A recording of the member's own visit, however far it has come. Raises NotYours."""
    return _one(_own(member), recording_id)


def recordings_of(member: Membership, visit: Visit) -> QuerySet[Recording]:
    """The complete recordings of a visit that the member may hear, stop by stop."""
    complete = audible_recordings(member).filter(visit=visit, state=RecordingState.COMPLETE)
    return complete.select_related("stop", "species").order_by(
        F("stop__number").asc(nulls_first=True), "begun_at", "pk"
    )


def _own(member: Membership) -> QuerySet[Recording]:
    return Recording.objects.filter(
        visit__route__programme=member.programme_id, visit__observer=member.person_id
    )


def _lock_own(member: Membership, recording_id: uuid.UUID) -> Recording:
    require(member, Permission.SURVEY)
    rows = _own(member).select_related("visit").select_for_update(of=("self",))
    return _one(rows, recording_id)


def _one(rows: QuerySet[Recording], recording_id: uuid.UUID) -> Recording:
    recording = rows.filter(pk=recording_id).first()
    if recording is None:
        raise NotYours("There is no such recording.")
    return recording


def _check_announced(announced: Announced) -> None:
    if announced.kind not in RecordingKind.values:
        raise RecordingRefused(f"A recording is one of: {', '.join(RecordingKind.values)}.")
    if media_type_of(announced.media_type) is None:
        raise RecordingRefused(
            f"Sound of the type “{announced.media_type}” is not taken. "
            f"These are: {', '.join(MEDIA_TYPES)}."
        )
    if not 0 < announced.bytes:
        raise RecordingRefused("The recording is empty.")
    if announced.bytes > LARGEST_BYTES:
        raise RecordingTooLarge(
            f"The recording has {megabytes(announced.bytes)}; {megabytes(LARGEST_BYTES)} are "
            "allowed. Record in shorter parts."
        )
    if not 0 <= announced.seconds <= LONGEST_S:
        raise RecordingRefused(
            f"A recording lasts {LONGEST_S // 60} minutes at most. Record in shorter parts."
        )


def _same(known: Recording, announced: Announced, member: Membership) -> Recording:
    """The recording of that id, if it is the one that is announced."""
    if known.visit_id != announced.visit or known.uploaded_by_id != member.person_id:
        raise NotYours("There is no such recording.")
    if (known.sha256, known.bytes) != (announced.sha256, announced.bytes):
        raise RecordingRefused("Another recording was begun under this id. Use a new id.")
    return known


def _stop(visit: Visit, number: int | None) -> Stop | None:
    if number is None:
        return None
    stops = stops_on(visit.route, visit.night)
    if number not in stops:
        raise RecordingRefused(f"The route had no stop {number} on that night.")
    return stops[number]


def _species(code: str) -> Species | None:
    if not code:
        return None
    species = Species.objects.filter(code=code).first()
    if species is None:
        raise RecordingRefused(f"There is no species {code}.")
    return species


def _join(recording: Recording, joined: BinaryIO) -> Exception | None:
    """Write the pieces one after the other; what is wrong with the whole, if anything."""
    digest = hashlib.sha256()
    for block in _blocks(recording):
        digest.update(block)
        joined.write(block)
    if joined.tell() != recording.bytes or digest.hexdigest() != recording.sha256:
        return RecordingDamaged()
    joined.seek(0)
    if not begins_like(recording.media_type, joined.read(HEAD_BYTES)):
        return RecordingDamaged(
            f"The file is not sound of the type {recording.media_type}, as was said of it."
        )
    return None


def _blocks(recording: Recording) -> Iterator[bytes]:
    for piece in recording.pieces.order_by("offset"):
        with piece.content.open("rb") as file:
            while block := file.read(_BLOCK):
                yield block


def _drop_pieces(recording: Recording) -> None:
    pieces = list(recording.pieces.all())
    forget_files([piece.content for piece in pieces])
    recording.pieces.all().delete()
