"""What the site makes of a recording that has arrived."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy

from surveys.models.recording import Recording
from surveys.models.storage import counts_bytes


class PictureProblem(models.TextChoices):
    UNREADABLE = (
        "unreadable",
        gettext_lazy("No picture: the sound in this file could not be read."),
    )
    OVER_LIMIT = (
        "over-limit",
        gettext_lazy("No picture: reading this file took more time or memory than it may."),
    )


class RecordingPicture(models.Model):
    """Picture and measures of a complete recording, and a copy that a player can jump in where the
    recording itself is none.

    `measures` is what `surveys.visits.media.sound_work` says; `seconds` is how much of the sound
    was read, in samples. With a `problem` there is nothing else. `bytes` are those of all files.
    """

    recording = models.OneToOneField(
        Recording, on_delete=models.CASCADE, primary_key=True, related_name="picture"
    )
    image = models.FileField(upload_to="recordings/pictures/%Y/", blank=True)
    waveform = models.FileField(upload_to="recordings/pictures/%Y/", blank=True)
    seekable = models.FileField(upload_to="recordings/seekable/%Y/", blank=True)
    bytes = models.PositiveIntegerField(default=0)
    seconds = models.FloatField(default=0)
    cut = models.BooleanField(default=False)
    measures = models.JSONField(null=True, blank=True)
    problem = models.CharField(max_length=20, choices=PictureProblem.choices, blank=True)
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        triggers = [
            counts_bytes(
                program=(
                    "(SELECT route.program_id FROM surveys_recording AS recording"
                    " JOIN surveys_visit AS visit ON visit.id = recording.visit_id"
                    " JOIN surveys_route AS route ON route.id = visit.route_id"
                    " WHERE recording.id = {row}.recording_id)"
                ),
                person=(
                    "(SELECT recording.uploaded_by_id FROM surveys_recording AS recording"
                    " WHERE recording.id = {row}.recording_id)"
                ),
            )
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(problem__in=PictureProblem.values, image="")
                | (Q(problem="") & ~Q(image="")),
                name="recordingpicture_or_problem",
            )
        ]
