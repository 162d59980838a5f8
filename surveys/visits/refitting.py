"""What follows from a change of what counts in the trends."""

from django.db import transaction
from procrastinate.contrib.django import app
from procrastinate.exceptions import AlreadyEnqueued

# The task lives above this room, so it is known here by name only.
REFIT = "fitting.refit_program"
QUEUE = "fits"
# A coordinator accepts many visits in one sitting; one fit serves them all.
REVIEW_PAUSE_S = 30


def refit_trends(program_id: int, *, after_s: int = REVIEW_PAUSE_S) -> None:
    """Ask the worker to bring the stored fits of a program up to date.

    Asking again while a fit is waiting changes nothing. Inside a transaction the fit is asked
    for if and only if the transaction is kept.
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
