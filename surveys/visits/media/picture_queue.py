"""Asks the worker for the picture of a recording."""

import uuid

from procrastinate.contrib.django import app

from surveys.runs.queues import LONG

TASK = "visits.picture"


def ask_for_picture(recording_id: uuid.UUID) -> None:
    """In a transaction, the job is there if and only if the transaction is committed."""
    app.configure_task(TASK, queue=LONG).defer(recording_id=str(recording_id))
