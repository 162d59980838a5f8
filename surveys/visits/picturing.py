"""The worker's jobs that make pictures of recordings."""

import logging

from procrastinate import RetryStrategy
from procrastinate.contrib.django import app

from surveys.runs.queues import LONG, SHORT
from surveys.visits.media.picture_queue import TASK
from surveys.visits.media.pictures import ask_for_old_pictures, make_picture

log = logging.getLogger(__name__)

# A scanner that is away for a while. Afterward the night asks again.
_RETRY = RetryStrategy(max_attempts=5, wait=30, linear_wait=60)


@app.task(name=TASK, queue=LONG, retry=_RETRY)
def picture(recording_id: str) -> None:
    make_picture(recording_id)


@app.periodic(cron="40 4 * * *")
@app.task(name="visits.old_pictures", queue=SHORT, queueing_lock="pictures of old recordings")
def old_pictures(timestamp: int) -> None:
    """Recordings without a picture get one, some every night."""
    asked = ask_for_old_pictures()
    if asked:
        log.info("%d recordings are given their picture.", asked)
