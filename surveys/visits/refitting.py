"""Asks for new fits when what counts in the trends has changed."""

from django.db import transaction
from procrastinate.contrib.django import app
from procrastinate.exceptions import AlreadyEnqueued

# The task belongs to a package above this one, so it is referred to by name only.
REFIT = "fitting.refit_program"
QUEUE = "fits"
# Coordinators accept many visits in a row; one fit after a pause serves them all.
REVIEW_PAUSE_S = 30


def refit_trends(program_id: int, *, after_s: int = REVIEW_PAUSE_S) -> None:
    """Ask the worker to bring the stored fits of a program up to date.

    Does nothing while a fit is already queued. In a transaction, the fit is queued if and only
    if the transaction is committed.
    """
    lock = f"fits of program {program_id}"
    task = app.configure_task(
        REFIT, queue=QUEUE, lock=lock, queueing_lock=lock, schedule_in={"seconds": after_s}
    )
    try:
        with transaction.atomic():
            task.defer(program_id=program_id)
    except AlreadyEnqueued:
        pass
