"""Asks for new fits when what counts in the trends has changed."""

from surveys.models import BackgroundRun, RunKind
from surveys.runs.enqueue import enqueue_unless_queued

# Coordinators accept many visits in a row; one fit after a pause serves them all.
REVIEW_PAUSE_S = 10
SUBJECT = "fits"


def refit_trends(program_id: int, *, after_s: int = REVIEW_PAUSE_S) -> BackgroundRun:
    """Ask the worker to bring the stored fits of a program up to date.

    Does nothing while a fit is already queued. In a transaction, the fit is queued if and only
    if the transaction is committed.
    """
    return enqueue_unless_queued(RunKind.FIT, program_id, subject=SUBJECT, after_s=after_s)
