"""Pictures of recordings: made by the worker once a recording has arrived, for whoever may hear
it."""

from __future__ import annotations

import json
import logging
import uuid
from dataclasses import replace
from typing import Any

from django.core.files.base import ContentFile
from django.db import transaction

from surveys import bounded, scanning
from surveys.models import PictureProblem, Recording, RecordingPicture, RecordingState
from surveys.visits.media.audio_formats import file_extension
from surveys.visits.media.files import storage_path
from surveys.visits.media.picture_queue import ask_for_picture
from surveys.visits.media.sound_messages import WORK, Made, asked, made

log = logging.getLogger(__name__)

LIMITS = bounded.Limits(seconds=60, cpu_seconds=5, memory_bytes=500 * 1024**2)
# Somebody waits for a part to be measured.
_PART_LIMITS = replace(LIMITS, seconds=10)
# Recordings from before there were pictures, or whose job was lost: so many a night.
OLD_ONES_A_NIGHT = 500


def make_picture(recording_id: uuid.UUID | str) -> RecordingPicture | None:
    """Make and store the picture of a recording; what is wrong with its file is stored instead.

    Does nothing for a recording that is gone, or has its picture. Raises RefusedError while nobody
    reads files, because the virus scanner is away or too many are read: the job is to try again.
    """
    recording = _waiting().filter(pk=recording_id).first()
    if recording is None:
        return None
    try:
        found, problem = _made(recording), ""
    except bounded.OverLimitError:
        found, problem = None, PictureProblem.OVER_LIMIT
    except bounded.BrokenError:
        found, problem = None, PictureProblem.UNREADABLE
    except bounded.RefusedError as refusal:
        if isinstance(refusal, bounded.BusyError) or refusal.message == scanning.AWAY:
            raise
        found, problem = None, PictureProblem.UNREADABLE
    return _store(recording.pk, found, problem)


def ask_for_old_pictures() -> int:
    """Ask for the pictures of OLD_ONES_A_NIGHT recordings that have none. Returns how many."""
    old = list(_waiting().order_by("-completed_at").values_list("pk", flat=True)[:OLD_ONES_A_NIGHT])
    for pk in old:
        ask_for_picture(pk)
    return len(old)


def measured_part(
    recording: Recording, *, begin_s: float, end_s: float, low_hz: float, high_hz: float
) -> dict[str, Any]:
    """Measures of a part of a recording that the caller may hear, as `sound_work` says.

    Raises RefusedError, OverLimitError, BrokenError.
    """
    before = asked(
        media_type=recording.media_type,
        begin_s=begin_s,
        end_s=end_s,
        low_hz=low_hz,
        high_hz=high_hz,
    )
    return json.loads(_run(recording, "selection", before, _PART_LIMITS))


def _waiting() -> Any:
    return Recording.objects.filter(state=RecordingState.COMPLETE, picture=None)


def _made(recording: Recording) -> Made:
    before = asked(media_type=recording.media_type)
    return made(_run(recording, "picture", before, LIMITS))


def _run(recording: Recording, function: str, before: bytes, limits: bounded.Limits) -> bytes:
    with recording.audio.open("rb") as file:
        return bounded.run_file(WORK, function, file, limits, before=before)


@transaction.atomic
def _store(recording_id: uuid.UUID, found: Made | None, problem: str) -> RecordingPicture | None:
    """The recording's row is locked, so that it is not erased meanwhile and two jobs store one
    picture."""
    recording = _waiting().filter(pk=recording_id).select_for_update(of=("self",)).first()
    if recording is None:
        return None
    picture = RecordingPicture(recording=recording, problem=problem)
    if found is not None:
        picture.seconds, picture.cut, picture.measures = found.seconds, found.cut, found.measures
        extension = file_extension(recording.media_type)
        for field, name, content in (
            (picture.image, "png", found.image),
            (picture.waveform, "wave.png", found.waveform),
            (picture.seekable, extension, found.seekable),
        ):
            if content:
                path = storage_path(f"{recording.pk}.{name}")
                field.save(path, ContentFile(content), save=False)
                picture.bytes += len(content)
    picture.save()
    return picture
