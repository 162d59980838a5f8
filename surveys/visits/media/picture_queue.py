"""Asks the worker for the picture of a recording."""

import uuid

from procrastinate.contrib.django import app

from surveys.runs.queues import LONG

TASK = "visits.picture"


def ask_for_picture(recording_id: uuid.UUID) -> None:
    """In a transaction, the job is there if and only if the transaction is committed. Imports and
    publications, for which somebody waits, come first."""
    app.configure_task(TASK, queue=LONG, priority=-1).defer(recording_id=str(recording_id))
