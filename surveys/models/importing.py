"""Spreadsheets on their way in."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from surveys.models.program import Program
from surveys.models.publication import RunState


class SpreadsheetImport(models.Model):
    """An uploaded file with what its columns mean, kept between the steps of an import
    and afterwards. `columns` holds (header, meaning) pairs, `answers` what the file
    itself cannot say."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="imports")
    uploaded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    uploaded_at = models.DateTimeField(auto_now_add=True)
    file_name = models.CharField(max_length=200)
    content = models.BinaryField()
    sha256 = models.CharField(max_length=64)
    columns = models.JSONField(default=list)
    answers = models.JSONField(default=dict)
    committed_at = models.DateTimeField(null=True, blank=True)
    visit_count = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["-uploaded_at"]

    def __str__(self) -> str:
        return self.file_name


class ImportWork(models.TextChoices):
    CHECK = "check", "Checking"
    COMMIT = "commit", "Importing"


class ImportRun(models.Model):
    """What the worker was asked to do with a large file, and how far it has come.

    `found` is the preview of a check that is done; `problem` a sentence.
    """

    upload = models.ForeignKey(SpreadsheetImport, on_delete=models.CASCADE, related_name="runs")
    work = models.CharField(max_length=6, choices=ImportWork.choices)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    asked_at = models.DateTimeField(auto_now_add=True)
    state = models.CharField(max_length=10, choices=RunState.choices, default=RunState.WAITING)
    step = models.CharField(max_length=120, blank=True)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    found = models.JSONField(null=True, blank=True)
    problem = models.TextField(blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["upload", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=RunState.values), name="importrun_state_known"
            ),
            models.CheckConstraint(
                condition=Q(work__in=ImportWork.values), name="importrun_work_known"
            ),
            models.UniqueConstraint(
                fields=["upload"],
                condition=Q(state__in=[RunState.WAITING, RunState.WORKING]),
                name="importrun_one_at_a_time",
            ),
        ]
