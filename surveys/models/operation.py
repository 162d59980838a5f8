"""What keeps an installation going: backups that were made, workers that are alive."""

from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.utils.translation import gettext_lazy


class OperationKind(models.TextChoices):
    BACKUP = "backup", gettext_lazy("Backup")
    OFFSITE_COPY = "offsite_copy", gettext_lazy("Off-site copy")
    RESTORE_DRILL = "restore_drill", gettext_lazy("Restore drill")


class OperationRecord(models.Model):
    """A backup, off-site copy or restore drill, and how it ended. `detail` is for operators."""

    kind = models.CharField(max_length=13, choices=OperationKind.choices)
    ok = models.BooleanField()
    at = models.DateTimeField(db_default=Now())
    detail = models.TextField(blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["kind", "-at", "-id"], name="operation_latest")]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=OperationKind.values), name="operation_kind_known"
            )
        ]


class WorkerHeartbeat(models.Model):
    """A worker process that is running, and when it last said so.

    The library's own table of workers does not tell which queues a worker serves. `name` is a key
    of `surveys.runs.queues.WORKERS`.
    """

    name = models.CharField(max_length=20)
    host = models.CharField(max_length=255)
    pid = models.IntegerField()
    started_at = models.DateTimeField(db_default=Now())
    seen_at = models.DateTimeField(db_default=Now())

    class Meta:
        indexes = [models.Index(fields=["name", "-seen_at"], name="heartbeat_latest")]
