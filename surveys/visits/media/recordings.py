"""Recordings of a visit: announced by the phone, then uploaded piece by piece.

Each piece is a file of its own until the last one has arrived, because storages such as S3
cannot append to a file. Every verb locks the recording's row before it checks how much has been
received, so that a piece sent twice, or from two tabs, is stored once. The visit is locked only
while a recording is announced: uploads never delay the saving of data.
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
from django.utils.translation import gettext_lazy

from accounts.access import (
    Permission,
    require,
)
from accounts.models import Membership
from surveys import scanning
from surveys.language import gettext, said
from surveys.models import (
    Program,
    Recording,
    RecordingKind,
    RecordingPicture,
    RecordingPiece,
    RecordingState,
    ReferenceCall,
    Species,
    Stop,
    Visit,
)
from surveys.visits.access import (
    EDITABLE,
    check_state,
    lock_own_visit,
)
from surveys.visits.exceptions import (
    NotYours,
    OffsetMismatch,
    RecordingDamaged,
    RecordingNotScanned,
    RecordingRefused,
    RecordingTooLarge,
)
from surveys.visits.loading import every_stop, stops_on_sheet
from surveys.visits.media.audio_formats import (
    MAX_BYTES,
    MAX_DURATION_S,
    MEDIA_TYPES,
    SIGNATURE_BYTES,
    file_extension,
    has_signature_of,
    media_type_of,
    megabytes,
)
from surveys.visits.media.files import (
    delete_files_on_commit,
    storage_path,
)
from surveys.visits.media.picture_queue import ask_for_picture
from surveys.visits.media.quota import check_room

MAX_RECORDINGS = 100
MAX_TOTAL_BYTES = 500 * 1024 * 1024
SHA256 = re.compile(r"[0-9a-f]{64}")
UPLOAD_LIFETIME = dt.timedelta(days=30)
_BLOCK = 64 * 1024
_IN_MEMORY = 1024 * 1024
_NO_SUCH = gettext_lazy("There is no such recording.")


@dataclass(frozen=True, kw_only=True)
class RecordingAnnouncement:
    """What a phone states about a recording before it sends it.

    `stop` is the stop's number, `species` a code, `bytes` the length of the file, `seconds` of
    the sound, `metadata` the header as it was sent.
    """

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
def begin_recording(member: Membership, announced: RecordingAnnouncement) -> Recording:
    """Make room for a recording of the member's own visit, in whatever state that is.

    The same id again gives back the same recording, so that a retry never makes a second
    one. Raises NotYours, RecordingRefused, RecordingTooLarge, NoRoomLeft.
    """
    require(member, Permission.SURVEY)
    visit = _lock_visit(member, announced.visit)
    media_type = _check_announced(announced)
    existing = Recording.objects.filter(pk=announced.id).first()
    if existing is not None:
        return _check_same(existing, announced)
    _check_quota(visit, announced.bytes)
    check_room(member, announced.bytes)
    return Recording.objects.create(
        id=announced.id,
        visit=visit,
        stop=_stop(visit, announced.stop),
        species=_species(member.program, announced.species),
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
    """Store all of `content`, `length` bytes, as the piece that begins at `offset`.

    After the last piece the caller calls `assemble_recording`, once this transaction is
    committed, so that the piece is kept even if the assembly fails.

    Raises NotYours, OffsetMismatch, RecordingTooLarge, RecordingRefused.
    """
    require(member, Permission.SURVEY)
    recording = _get_or_raise(own_recordings(member).select_for_update(of=("self",)), recording_id)
    check_piece(recording, offset=offset, length=length)
    if not length:
        return recording
    if offset == 0 and length >= SIGNATURE_BYTES:
        content.seek(0)
        if not has_signature_of(recording.media_type, content.read(SIGNATURE_BYTES)):
            raise RecordingRefused(_other_type(recording))
    content.seek(0)
    piece = RecordingPiece(recording=recording, offset=offset)
    piece.content.save(storage_path(f"{recording.pk}-{offset}"), File(content), save=True)
    recording.received += length
    recording.save(update_fields=["received"])
    return recording


def check_piece(recording: Recording, *, offset: int, length: int) -> None:
    """Check that a piece continues the upload. Raises OffsetMismatch, RecordingTooLarge."""
    if recording.received != offset:
        raise OffsetMismatch(recording.received)
    if offset + length > recording.bytes:
        raise RecordingTooLarge(
            said(
                "The recording was announced with {bytes} bytes; this piece would make it"
                " {length}.",
                bytes=recording.bytes,
                length=offset + length,
            )
        )


def assemble_recording(recording_id: uuid.UUID, *, ask: bool = True) -> None:
    """Join the pieces of a recording once all have arrived, and `ask` for its picture.

    Does nothing while a piece is missing, or when the recording has been deleted. Raises
    RecordingDamaged when the checksum or the media type is wrong, and RecordingRefused when the
    virus scanner finds something; the pieces are then deleted, and the upload has to start over.
    Raises RecordingNotScanned while the scanner is away; the pieces are kept.
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
                name = f"{recording.pk}.{file_extension(recording.media_type)}"
                recording.audio.save(storage_path(name), File(joined), save=False)
                recording.state = RecordingState.COMPLETE
                recording.completed_at = timezone.now()
            else:
                recording.received = 0
            recording.save()
            if ask and problem is None:
                ask_for_picture(recording.pk)
        _delete_pieces(recording)
    if problem is not None:
        raise problem


def unassembled_recordings() -> QuerySet[Recording]:
    """Recordings whose pieces have all arrived but have not been joined."""
    return Recording.objects.filter(received=F("bytes"), state=RecordingState.ARRIVING)


def expires_at(recording: Recording) -> dt.datetime | None:
    """When an unfinished upload expires; None for a complete recording."""
    if recording.state == RecordingState.COMPLETE:
        return None
    return recording.begun_at + UPLOAD_LIFETIME


def expire_unfinished(now: dt.datetime | None = None) -> int:
    """Delete uploads that were begun more than UPLOAD_LIFETIME ago and never finished.

    Returns how many. The phone still has the recording and starts over when it comes back
    online. Recordings that only wait for `assemble_recording`, and rows locked by a piece that
    is being stored, are skipped.
    """
    cutoff = (now or timezone.now()) - UPLOAD_LIFETIME
    overdue = Recording.objects.filter(
        state=RecordingState.ARRIVING, begun_at__lt=cutoff, received__lt=F("bytes")
    )
    expired = 0
    for pk in list(overdue.values_list("pk", flat=True)):
        with transaction.atomic():
            rows = overdue.filter(pk=pk).select_for_update(skip_locked=True, of=("self",))
            for recording in rows:
                delete_recording_files_on_commit(Recording.objects.filter(pk=pk))
                recording.delete()
                expired += 1
    return expired


@transaction.atomic
def remove_recording(member: Membership, recording_id: uuid.UUID) -> None:
    """Delete a recording of the member: an unfinished one at any time, a complete one only
    while the visit can be edited. Raises NotYours, WrongState."""
    require(member, Permission.SURVEY)
    recording = find_upload(member, recording_id)
    visit = lock_own_visit(member, recording.visit_id)
    recording = _get_or_raise(own_recordings(member).select_for_update(of=("self",)), recording_id)
    if recording.state == RecordingState.COMPLETE:
        check_state(visit, EDITABLE)
    delete_recording_files_on_commit(Recording.objects.filter(pk=recording.pk))
    recording.delete()


def delete_recording_files_on_commit(recordings: QuerySet[Recording]) -> None:
    """Delete the files of recordings that the caller deletes in this transaction. The rows are
    locked, so that no piece can be added in the meantime."""
    rows = list(recordings.order_by("pk").select_for_update(of=("self",)))
    pieces = RecordingPiece.objects.filter(recording__in=rows)
    pictures = RecordingPicture.objects.filter(recording__in=rows)
    delete_files_on_commit(row.audio for row in rows if row.audio)
    delete_files_on_commit(piece.content for piece in pieces)
    for picture in pictures:
        files = (picture.image, picture.waveform, picture.seekable)
        delete_files_on_commit(file for file in files if file)
    for reference in ReferenceCall.objects.filter(recording__in=rows):
        delete_files_on_commit((reference.audio, reference.image))


def own_recordings(member: Membership) -> QuerySet[Recording]:
    return Recording.objects.filter(
        visit__route__program=member.program_id, visit__observer=member.person_id
    )


def find_upload(member: Membership, recording_id: uuid.UUID) -> Recording:
    """A recording of the member's own visit, complete or not. Raises NotYours."""
    return _get_or_raise(own_recordings(member), recording_id)


def _get_or_raise(rows: QuerySet[Recording], recording_id: uuid.UUID) -> Recording:
    recording = rows.filter(pk=recording_id).first()
    if recording is None:
        raise NotYours(_NO_SUCH)
    return recording


def _lock_visit(member: Membership, visit_id: uuid.UUID) -> Visit:
    try:
        return lock_own_visit(member, visit_id)
    except NotYours:
        raise NotYours(
            gettext(
                "The visit of this recording is not on the server, or it is not yours. "
                "Send the visit first, then the recording."
            )
        ) from None


def _check_announced(announced: RecordingAnnouncement) -> str:
    """The media type without parameters. Raises RecordingRefused, RecordingTooLarge."""
    if announced.kind not in RecordingKind.values:
        raise RecordingRefused(
            said("A recording is one of: {values}.", values=", ".join(RecordingKind.values))
        )
    media_type = media_type_of(announced.media_type)
    if media_type is None:
        raise RecordingRefused(
            said(
                "Sound of the type “{media_type}” is not accepted. These are: {media_types}.",
                media_type=announced.media_type,
                media_types=", ".join(MEDIA_TYPES),
            )
        )
    if not SHA256.fullmatch(announced.sha256):
        raise RecordingRefused(gettext("A SHA-256 checksum has 64 digits from 0 to 9 and a to f."))
    if announced.bytes <= 0:
        raise RecordingRefused(gettext("The recording is empty."))
    if announced.bytes > MAX_BYTES:
        raise RecordingTooLarge(
            said(
                "The recording has {megabytes}; {megabytes_2} are allowed. Record in "
                "shorter parts.",
                megabytes=megabytes(announced.bytes),
                megabytes_2=megabytes(MAX_BYTES),
            )
        )
    if not 0 <= announced.seconds <= MAX_DURATION_S:
        raise RecordingRefused(
            said(
                "A recording lasts {max_duration_s} minutes at most. Record in shorter parts.",
                max_duration_s=MAX_DURATION_S // 60,
            )
        )
    return media_type


def _check_quota(visit: Visit, added: int) -> None:
    if visit.recordings.count() >= MAX_RECORDINGS:
        raise RecordingRefused(
            said(
                "A visit has room for {max_recordings} recordings. Delete one you do not need.",
                max_recordings=MAX_RECORDINGS,
            )
        )
    used = visit.recordings.aggregate(bytes=Sum("bytes", default=0))["bytes"]
    if used + added > MAX_TOTAL_BYTES:
        raise RecordingRefused(
            said(
                "The recordings of a visit may have {megabytes} together; with this one "
                "they would have {megabytes_2}.",
                megabytes=megabytes(MAX_TOTAL_BYTES),
                megabytes_2=megabytes(used + added),
            )
        )


def _check_same(existing: Recording, announced: RecordingAnnouncement) -> Recording:
    """The existing recording with the announced id.

    Raises NotYours or RecordingRefused when the announcement is of another recording.
    """
    if existing.visit_id != announced.visit:
        raise NotYours(_NO_SUCH)
    if (existing.sha256, existing.bytes) != (announced.sha256, announced.bytes):
        raise RecordingRefused(gettext("Another recording already uses this id. Use a new id."))
    return existing


def _stop(visit: Visit, number: int | None) -> Stop | None:
    """The stop that the visit knows by that number. One that the route never had is no reason to
    refuse the recording: its number is still in the metadata."""
    if number is None:
        return None
    every = every_stop(visit.route)
    return stops_on_sheet(every, visit.night, (number,), visit.carried_stops).get(number)


def _species(program: Program, code: str) -> Species | None:
    if not code:
        return None
    species = Species.objects.known_to(program).filter(code=code).first()
    if species is None:
        raise RecordingRefused(
            said("There is no species “{code}”. Leave it out if no one knows.", code=code)
        )
    return species


def _join(recording: Recording, joined: BinaryIO) -> RecordingDamaged | RecordingRefused | None:
    """Write the pieces to `joined` in order. Returns what is wrong with the whole, if anything."""
    digest = hashlib.sha256()
    for block in _blocks(recording):
        digest.update(block)
        joined.write(block)
    if joined.tell() != recording.bytes or digest.hexdigest() != recording.sha256:
        return RecordingDamaged()
    joined.seek(0)
    if not has_signature_of(recording.media_type, joined.read(SIGNATURE_BYTES)):
        return RecordingDamaged(_other_type(recording))
    return _infection(joined)


def _infection(joined: BinaryIO) -> RecordingRefused | None:
    """Raises RecordingNotScanned."""
    try:
        scanning.check(joined)
    except scanning.InfectedError as found:
        return RecordingRefused(said(scanning.REFUSED, name=found.name))
    except scanning.ScannerAwayError as error:
        raise RecordingNotScanned from error
    return None


def _other_type(recording: Recording) -> str:
    return said(
        "The file is not sound of the type {media_type}, as announced.",
        media_type=recording.media_type,
    )


def _blocks(recording: Recording) -> Iterator[bytes]:
    for piece in recording.pieces.order_by("offset"):
        with piece.content.open("rb") as file:
            while block := file.read(_BLOCK):
                yield block


def _delete_pieces(recording: Recording) -> None:
    delete_files_on_commit(piece.content for piece in recording.pieces.all())
    recording.pieces.all().delete()
