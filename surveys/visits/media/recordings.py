"""Recordings of a visit: begun with what the phone says of them, filled piece by piece.

The pieces are files of their own until the last one is there, because storages such as
S3 cannot add to a file. Every verb locks the recording's row before it looks how far the
upload has come, so that a piece sent twice, or by two tabs, is kept once. The visit itself
is locked only while a recording is begun: sound never holds up the data.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import re
import tempfile
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from django.core.files.base import File
from django.db import transaction
from django.db.models import F, QuerySet, Sum
from django.utils import timezone

from accounts.access import (
    Permission,
    require,
)
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
from surveys.visits.access import (
    EDITABLE,
    check_state,
    lock_own,
)
from surveys.visits.exceptions import (
    NotYours,
    OffsetMismatch,
    RecordingDamaged,
    RecordingRefused,
    RecordingTooLarge,
)
from surveys.visits.loading import stops_on
from surveys.visits.media.files import (
    forget_files,
    own_name,
)
from surveys.visits.media.sound_kinds import (
    HEAD_BYTES,
    LARGEST_BYTES,
    LONGEST_S,
    MEDIA_TYPES,
    begins_like,
    ending_of,
    media_type_of,
    megabytes,
)

MOST_A_VISIT = 100
MOST_BYTES_A_VISIT = 500 * 1024 * 1024
SHA256 = re.compile(r"[0-9a-f]{64}")
UNFINISHED_FOR = dt.timedelta(days=30)
_BLOCK = 64 * 1024
_IN_MEMORY = 1024 * 1024
_NO_SUCH = "There is no such recording."


@dataclass(frozen=True, kw_only=True)
class Announced:
    """What a phone says of a recording before it sends it. `stop` is the stop's number,
    `species` a code; `bytes` the length of the file; `metadata` the words as they came."""

    id: uuid.UUID
    visit: uuid.UUID
    kind: str
    media_type: str
    seconds: float
    bytes: int
    sha256: str
    stop: int | None = None
    species: str = ""
    recorded_at: dt.datetime | None = None
    metadata: str = ""


@transaction.atomic
def begin_recording(member: Membership, announced: Announced) -> Recording:
    """Make room for a recording of the member's own visit, in whatever state that is.

    The same id again gives back the same recording, so that a retry never makes a second
    one. Raises NotYours, RecordingRefused, RecordingTooLarge.
    """
    require(member, Permission.SURVEY)
    visit = _lock_visit(member, announced.visit)
    media_type = _check_announced(announced)
    known = Recording.objects.filter(pk=announced.id).first()
    if known is not None:
        return _same(known, announced)
    _check_room(visit, announced.bytes)
    return Recording.objects.create(
        id=announced.id,
        visit=visit,
        stop=_stop(visit, announced.stop),
        species=_species(announced.species),
        kind=announced.kind,
        media_type=media_type,
        seconds=announced.seconds,
        recorded_at=announced.recorded_at,
        bytes=announced.bytes,
        sha256=announced.sha256,
        upload_metadata=announced.metadata,
        uploaded_by=member.person,
    )


@transaction.atomic
def add_piece(
    member: Membership, recording_id: uuid.UUID, *, offset: int, content: BinaryIO, length: int
) -> Recording:
    """Keep `length` bytes, the whole of `content`, as what follows the first `offset` bytes
    of the member's own recording. When they are the last, `put_together` comes next, once
    this transaction is kept: what has arrived stays, whatever happens to the joining.

    Raises NotYours, OffsetMismatch, RecordingTooLarge, RecordingRefused.
    """
    require(member, Permission.SURVEY)
    recording = _one(own_recordings(member).select_for_update(of=("self",)), recording_id)
    check_piece(recording, offset=offset, length=length)
    if not length:
        return recording
    if offset == 0 and length >= HEAD_BYTES:
        content.seek(0)
        if not begins_like(recording.media_type, content.read(HEAD_BYTES)):
            raise RecordingRefused(_other_type(recording))
    content.seek(0)
    piece = RecordingPiece(recording=recording, offset=offset)
    piece.content.save(own_name(f"{recording.pk}-{offset}"), File(content), save=True)
    recording.received += length
    recording.save(update_fields=["received"])
    return recording


def check_piece(recording: Recording, *, offset: int, length: int) -> None:
    """Whether a piece follows what is there. Raises OffsetMismatch, RecordingTooLarge."""
    if recording.received != offset:
        raise OffsetMismatch(recording.received)
    if offset + length > recording.bytes:
        raise RecordingTooLarge(
            f"The recording was announced with {recording.bytes} bytes; "
            f"this piece would make it {offset + length}."
        )


def put_together(recording_id: uuid.UUID) -> None:
    """Join the pieces of a recording that has arrived; does nothing while one is missing,
    or when the recording is gone.

    Raises RecordingDamaged: then nothing is left of the pieces, and the upload begins anew.
    """
    with transaction.atomic():
        rows = Recording.objects.filter(
            pk=recording_id, received=F("bytes"), state=RecordingState.ARRIVING
        )
        recording = rows.select_for_update(of=("self",)).first()
        if recording is None:
            return
        with tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY) as joined:
            problem = _join(recording, joined)
            if problem is None:
                joined.seek(0)
                name = f"{recording.pk}.{ending_of(recording.media_type)}"
                recording.audio.save(own_name(name), File(joined), save=False)
                recording.state = RecordingState.COMPLETE
                recording.completed_at = timezone.now()
            else:
                recording.received = 0
            recording.save()
        _drop_pieces(recording)
    if problem is not None:
        raise problem


def arrived_in_pieces() -> QuerySet[Recording]:
    """Recordings whose last piece came, and then nobody put them together."""
    return Recording.objects.filter(received=F("bytes"), state=RecordingState.ARRIVING)


def expires_at(recording: Recording) -> dt.datetime | None:
    """From when on an upload that is still unfinished may be gone; None for a complete one."""
    if recording.state == RecordingState.COMPLETE:
        return None
    return recording.begun_at + UNFINISHED_FOR


def expire_unfinished(now: dt.datetime | None = None) -> int:
    """Let go of uploads that were begun long ago and never came to an end; how many. The
    phone still has its recording, and begins anew when it is back.

    What has arrived whole is for `put_together`; a row that a piece locks is left for now.
    """
    before = (now or timezone.now()) - UNFINISHED_FOR
    late = Recording.objects.filter(
        state=RecordingState.ARRIVING, begun_at__lt=before, received__lt=F("bytes")
    )
    gone = 0
    for pk in list(late.values_list("pk", flat=True)):
        with transaction.atomic():
            rows = late.filter(pk=pk).select_for_update(skip_locked=True, of=("self",))
            for recording in rows:
                forget_recordings(Recording.objects.filter(pk=pk))
                recording.delete()
                gone += 1
    return gone


@transaction.atomic
def remove_recording(member: Membership, recording_id: uuid.UUID) -> None:
    """Take back a recording of one's own: one that still arrives at any time, a complete
    one only while the visit can be changed. Raises NotYours, WrongState."""
    require(member, Permission.SURVEY)
    recording = find_upload(member, recording_id)
    visit = lock_own(member, recording.visit_id)
    recording = _one(own_recordings(member).select_for_update(of=("self",)), recording_id)
    if recording.state == RecordingState.COMPLETE:
        check_state(visit, EDITABLE)
    forget_recordings(Recording.objects.filter(pk=recording.pk))
    recording.delete()


def forget_recordings(recordings: QuerySet[Recording]) -> None:
    """Let go of the files of recordings whose rows go with this transaction. No piece can
    come in between: the rows stay locked until they are gone."""
    rows = list(recordings.order_by("pk").select_for_update(of=("self",)))
    pieces = RecordingPiece.objects.filter(recording__in=rows)
    forget_files(row.audio for row in rows if row.audio)
    forget_files(piece.content for piece in pieces)


def own_recordings(member: Membership) -> QuerySet[Recording]:
    return Recording.objects.filter(
        visit__route__program=member.program_id, visit__observer=member.person_id
    )


def find_upload(member: Membership, recording_id: uuid.UUID) -> Recording:
    """A recording of the member's own visit, however far it has come. Raises NotYours."""
    return _one(own_recordings(member), recording_id)


def _one(rows: QuerySet[Recording], recording_id: uuid.UUID) -> Recording:
    recording = rows.filter(pk=recording_id).first()
    if recording is None:
        raise NotYours(_NO_SUCH)
    return recording


def _lock_visit(member: Membership, visit_id: uuid.UUID) -> Visit:
    try:
        return lock_own(member, visit_id)
    except NotYours:
        raise NotYours(
            "The visit of this recording is not on the server, or it is not yours. "
            "Send the visit first, then the recording."
        ) from None


def _check_announced(announced: Announced) -> str:
    """The media type by its plain name. Raises RecordingRefused, RecordingTooLarge."""
    if announced.kind not in RecordingKind.values:
        raise RecordingRefused(f"A recording is one of: {', '.join(RecordingKind.values)}.")
    media_type = media_type_of(announced.media_type)
    if media_type is None:
        raise RecordingRefused(
            f"Sound of the type “{announced.media_type}” is not taken. "
            f"These are: {', '.join(MEDIA_TYPES)}."
        )
    if not SHA256.fullmatch(announced.sha256):
        raise RecordingRefused("A SHA-256 checksum has 64 digits from 0 to 9 and a to f.")
    if announced.bytes <= 0:
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
    return media_type


def _check_room(visit: Visit, more: int) -> None:
    if visit.recordings.count() >= MOST_A_VISIT:
        raise RecordingRefused(
            f"A visit has room for {MOST_A_VISIT} recordings. Delete one that says least."
        )
    taken = visit.recordings.aggregate(bytes=Sum("bytes", default=0))["bytes"]
    if taken + more > MOST_BYTES_A_VISIT:
        raise RecordingRefused(
            f"The recordings of a visit may have {megabytes(MOST_BYTES_A_VISIT)} together; "
            f"with this one they would have {megabytes(taken + more)}."
        )


def _same(known: Recording, announced: Announced) -> Recording:
    """The recording of that id, if it is the one that is announced."""
    if known.visit_id != announced.visit:
        raise NotYours(_NO_SUCH)
    if (known.sha256, known.bytes) != (announced.sha256, announced.bytes):
        raise RecordingRefused("Another recording was begun under this id. Use a new id.")
    return known


def _stop(visit: Visit, number: int | None) -> Stop | None:
    """The stop of that number. A stop that the route has lost since the phone took it along
    is no reason to refuse what was recorded: the number stays in the metadata."""
    return None if number is None else stops_on(visit.route, visit.night).get(number)


def _species(code: str) -> Species | None:
    if not code:
        return None
    species = Species.objects.filter(code=code).first()
    if species is None:
        raise RecordingRefused(f"There is no species “{code}”. Leave it out if nobody knows.")
    return species


def _join(recording: Recording, joined: BinaryIO) -> RecordingDamaged | None:
    """Write the pieces one after the other; what is wrong with the whole, if anything."""
    digest = hashlib.sha256()
    for block in _blocks(recording):
        digest.update(block)
        joined.write(block)
    if joined.tell() != recording.bytes or digest.hexdigest() != recording.sha256:
        return RecordingDamaged()
    joined.seek(0)
    if not begins_like(recording.media_type, joined.read(HEAD_BYTES)):
        return RecordingDamaged(_other_type(recording))
    return None


def _other_type(recording: Recording) -> str:
    return f"The file is not sound of the type {recording.media_type}, as was said of it."


def _blocks(recording: Recording) -> Iterator[bytes]:
    for piece in recording.pieces.order_by("offset"):
        with piece.content.open("rb") as file:
            while block := file.read(_BLOCK):
                yield block


def _drop_pieces(recording: Recording) -> None:
    forget_files(piece.content for piece in recording.pieces.all())
    recording.pieces.all().delete()
