"""Recordings that people hear without seeing what was written down at the stop."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from surveys.models.history import tracked
from surveys.models.recording import Recording
from surveys.models.species import Species


@tracked
class BlindListening(models.Model):
    """A recording and what its listeners agree on.

    `agreed` holds the call index by the code of the species, null where the indexes differ;
    `disputed` the codes that one listener alone named. `confirmed` holds the codes whose call on
    the sheet was confirmed, so that a confirmation that a coordinator withdrew is not made again.
    """

    recording = models.OneToOneField(
        Recording, on_delete=models.CASCADE, primary_key=True, related_name="blind_listening"
    )
    agreed = models.JSONField(default=dict)
    disputed = models.JSONField(default=list)
    confirmed = models.JSONField(default=list)
    finished_at = models.DateTimeField(null=True, blank=True)


@tracked
class BlindAnswer(models.Model):
    """What one person heard in a recording. It never changes."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    listening = models.ForeignKey(BlindListening, on_delete=models.CASCADE, related_name="answers")
    listener = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="blind_answers"
    )
    answered_at = models.DateTimeField()
    # False where noise or a poor recording let nothing be heard.
    is_usable = models.BooleanField(default=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["listening", "answered_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["listening", "listener"], name="blindanswer_once_per_listener"
            )
        ]


@tracked
class BlindCall(models.Model):
    """A species in an answer; without an index, the listener was not sure of it."""

    answer = models.ForeignKey(BlindAnswer, on_delete=models.CASCADE, related_name="calls")
    species = models.ForeignKey(Species, on_delete=models.PROTECT, related_name="+")
    index = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["answer", "species"]
        constraints = [
            models.UniqueConstraint(fields=["answer", "species"], name="blindcall_once_per_answer"),
            models.CheckConstraint(
                condition=Q(index__isnull=True) | Q(index__range=(1, 3)), name="blindcall_1_to_3"
            ),
        ]
