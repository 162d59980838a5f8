"""Spreadsheets on their way in."""

import uuid

from django.conf import settings
from django.db import models

from surveys.models.program import Program
from surveys.models.storage import counts_bytes
from surveys.models.visit import Visit


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
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-uploaded_at"]
        triggers = [
            counts_bytes(
                program="{row}.program_id",
                column="content",
                size="octet_length({row}.content)",
            )
        ]

    def __str__(self) -> str:
        return self.file_name


class ImportPart(models.Model):
    """Rows of an uploaded file as they were read, compressed; part 0 says what is known of all.
    They are gone once the file is imported."""

    upload = models.ForeignKey(SpreadsheetImport, on_delete=models.CASCADE, related_name="parts")
    number = models.PositiveSmallIntegerField()
    packed = models.BinaryField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["upload", "number"], name="import_part_once")
        ]

    def __str__(self) -> str:
        return f"{self.number} of {self.upload_id}"


class ImportedVisit(models.Model):
    """Which file a visit came from."""

    visit = models.OneToOneField(
        Visit, on_delete=models.CASCADE, primary_key=True, related_name="imported"
    )
    upload = models.ForeignKey(
        SpreadsheetImport, on_delete=models.CASCADE, related_name="imported_visits"
    )

    def __str__(self) -> str:
        return f"{self.visit_id} of {self.upload_id}"
