"""Calls that somebody heard again in a recording."""

from django.conf import settings
from django.db import models

from surveys.models.history import tracked
from surveys.models.recording import Recording
from surveys.models.visit import CallIndex


@tracked
class Confirmation(models.Model):
    """A call confirmed by ear, from a recording of its stop, by somebody other than the observer.

    In the fits it is a certain detection. It goes with its call when a correction takes the species
    off the sheet, and with its recording.
    """

    call = models.OneToOneField(CallIndex, on_delete=models.CASCADE, related_name="confirmation")
    recording = models.ForeignKey(Recording, on_delete=models.CASCADE, related_name="confirmations")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    # Two people named the species who heard the recording without seeing the sheet; `by` is the
    # second of them.
    without_sheet = models.BooleanField(default=False, db_default=False)

    class Meta:
        ordering = ["call"]
