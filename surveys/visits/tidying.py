"""What the worker puts in order every night."""

from __future__ import annotations

import logging

from procrastinate.contrib.django import app

from surveys.visits.exceptions import RecordingDamaged
from surveys.visits.media.files import sweep_files
from surveys.visits.media.recordings import (
    arrived_in_pieces,
    expire_unfinished,
    put_together,
)
from surveys.visits.refitting import QUEUE

log = logging.getLogger(__name__)


@app.periodic(cron="10 4 * * *")
@app.task(name="visits.tidy", queue=QUEUE, queueing_lock="tidying of stored files")
def tidy(timestamp: int) -> None:
    """Put together recordings whose joining was cut off, let go of uploads that never
    ended, then sweep up files that belong to nothing."""
    for pk in list(arrived_in_pieces().values_list("pk", flat=True)):
        try:
            put_together(pk)
        except RecordingDamaged as damaged:
            log.warning("Recording %s: %s", pk, damaged)
    expired = expire_unfinished()
    if expired:
        log.info("%d uploads were never finished and have expired.", expired)
    swept = sweep_files()
    if swept:
        log.info("%d stored files belonged to nothing and were deleted.", swept)
