"""Calls of a species that a program keeps to compare with."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from surveys.models.history import tracked
from surveys.models.program import DataLicense, Program
from surveys.models.recording import Recording
from surveys.models.species import Species
from surveys.models.storage import counts_bytes


@tracked
class ReferenceCall(models.Model):
    """A part of a recording, up to 20 s, that shows how a species sounds.

    `audio` holds the part alone, so that nothing else of the recording is heard by those who may
    not hear it. It goes with the `recording` it is taken from; without one it came as a file, and
    `credit` says who recorded it. `consent` says how they agreed. `begin_s` and `end_s` are those
    of the part in what it is taken from; `measures` as `RecordingPicture` has them, of the part.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    program = models.ForeignKey(Program, on_delete=models.PROTECT, related_name="reference_calls")
    species = models.ForeignKey(Species, on_delete=models.PROTECT, related_name="reference_calls")
    recording = models.ForeignKey(
        Recording,
        on_delete=models.CASCADE,
        null=True,
        blank=True,
        related_name="reference_calls",
    )
    begin_s = models.FloatField()
    end_s = models.FloatField()
    audio = models.FileField(upload_to="recordings/references/%Y/")
    image = models.FileField(upload_to="recordings/references/%Y/")
    seconds = models.FloatField()
    bytes = models.PositiveIntegerField()
    measures = models.JSONField()
    air_celsius = models.FloatField(null=True, blank=True)
    credit = models.CharField(max_length=120, blank=True)
    consent = models.CharField(max_length=200)
    license = models.CharField(max_length=16, choices=DataLicense.choices)
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    added_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["program", "species", "added_at", "pk"]
        triggers = [counts_bytes(program="{row}.program_id", person="{row}.added_by_id")]
        constraints = [
            models.CheckConstraint(
                condition=Q(begin_s__gte=0, end_s__gt=F("begin_s")), name="referencecall_part"
            ),
            models.CheckConstraint(
                condition=Q(recording__isnull=False) | ~Q(credit=""),
                name="referencecall_credited",
            ),
            models.CheckConstraint(
                condition=~Q(consent="") & Q(license__in=DataLicense.values),
                name="referencecall_consent_and_license",
            ),
        ]

    @property
    def by(self) -> str:
        """Who recorded it."""
        return self.recording.visit.observer.name if self.recording else self.credit
