"""The worker's nightly cleanup of recordings and stored files."""

from __future__ import annotations

import logging

from procrastinate.contrib.django import app

from surveys.runs.queues import SHORT
from surveys.visits.exceptions import RecordingDamaged, RecordingNotScanned, RecordingRefused
from surveys.visits.media.files import sweep_files
from surveys.visits.media.photos import count_bytes_of_old_photos
from surveys.visits.media.recordings import (
    assemble_recording,
    expire_unfinished,
    unassembled_recordings,
)

log = logging.getLogger(__name__)


@app.periodic(cron="10 4 * * *")
@app.task(name="visits.tidy", queue=SHORT, queueing_lock="tidying of stored files")
def tidy(timestamp: int) -> None:
    """Assemble recordings whose assembly was interrupted, expire unfinished uploads, count the
    bytes of photos from before they were counted, then delete stored files that no row refers
    to."""
    for pk in list(unassembled_recordings().values_list("pk", flat=True)):
        try:
            assemble_recording(pk)
        except (RecordingDamaged, RecordingNotScanned, RecordingRefused) as error:
            log.warning("Recording %s: %s", pk, error)
    expired = expire_unfinished()
    if expired:
        log.info("%d unfinished uploads have expired.", expired)
    count_bytes_of_old_photos()
    swept = sweep_files()
    if swept:
        log.info("%d stored files that no row refers to were deleted.", swept)
