"""Sound from the roadside: a voucher of what called, or a spoken note."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy

from surveys.models.route import Stop
from surveys.models.species import Species
from surveys.models.storage import counts_bytes
from surveys.models.visit import Visit


class RecordingKind(models.TextChoices):
    VOUCHER = "voucher", gettext_lazy("Voucher recording")
    NOTE = "note", gettext_lazy("Voice note")


class RecordingState(models.TextChoices):
    ARRIVING = "arriving", gettext_lazy("Arriving")
    COMPLETE = "complete", gettext_lazy("Complete")


class Recording(models.Model):
    """A sound of a visit, which arrives in pieces. `sha256` is what the phone declared
    before it sent anything; a complete recording was found to have it."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="recordings")
    stop = models.ForeignKey(
        Stop, on_delete=models.PROTECT, null=True, blank=True, related_name="recordings"
    )
    species = models.ForeignKey(
        Species, on_delete=models.PROTECT, null=True, blank=True, related_name="recordings"
    )
    kind = models.CharField(max_length=10, choices=RecordingKind.choices)
    state = models.CharField(
        max_length=10, choices=RecordingState.choices, default=RecordingState.ARRIVING
    )
    media_type = models.CharField(max_length=40)
    seconds = models.FloatField()
    # By the clock of the phone; unknown of a file that came from elsewhere.
    recorded_at = models.DateTimeField(null=True, blank=True)
    bytes = models.PositiveIntegerField()
    received = models.PositiveIntegerField(default=0)
    sha256 = models.CharField(max_length=64)
    audio = models.FileField(upload_to="recordings/%Y/", blank=True)
    # As the phone sent it: the protocol wants it back word for word.
    upload_metadata = models.TextField()
    uploaded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT)
    begun_at = models.DateTimeField(auto_now_add=True)
    completed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["visit", "stop__number", "begun_at", "pk"]
        # All of them from its beginning: the room is kept free for it.
        triggers = [counts_bytes()]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=RecordingKind.values), name="recording_kind_known"
            ),
            models.CheckConstraint(
                condition=Q(received__lte=F("bytes")), name="recording_received_within_bytes"
            ),
            models.CheckConstraint(
                condition=Q(state=RecordingState.ARRIVING)
                | Q(
                    state=RecordingState.COMPLETE,
                    received=F("bytes"),
                    completed_at__isnull=False,
                ),
                name="recording_complete_has_all_bytes",
            ),
        ]


class RecordingPiece(models.Model):
    """Bytes that arrived, from `offset` on, until the recording is complete."""

    recording = models.ForeignKey(Recording, on_delete=models.CASCADE, related_name="pieces")
    offset = models.PositiveIntegerField()
    content = models.FileField(upload_to="recordings/arriving/")

    class Meta:
        ordering = ["recording", "offset"]
        constraints = [
            models.UniqueConstraint(
                fields=["recording", "offset"], name="recordingpiece_once_per_offset"
            )
        ]
