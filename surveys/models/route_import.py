"""Routes and stops on their way in from a file."""

import uuid

from django.conf import settings
from django.db import models

from surveys.models.program import Program
from surveys.models.storage import counts_bytes


class RouteImport(models.Model):
    """What an uploaded file holds, and what is made of it, from the upload until it is undone.

    `found` is the file as it was read, `columns` are (header, meaning) pairs, `draft` the routes
    with their stops as texts that people may correct, `options` what the file cannot say.
    `written` names the rows that were added and what others were before, so that it can be undone.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="route_imports")
    uploaded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    uploaded_at = models.DateTimeField(auto_now_add=True)
    file_name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    found = models.JSONField()
    columns = models.JSONField(default=list)
    draft = models.JSONField(default=list)
    options = models.JSONField(default=dict)
    # Counts the changes of the draft, so that two people do not overwrite each other.
    revision = models.PositiveIntegerField(default=1)
    committed_at = models.DateTimeField(null=True, blank=True)
    written = models.JSONField(default=dict)
    undone_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-uploaded_at"]
        triggers = [
            counts_bytes(
                program="{row}.program_id",
                column="found",
                size="octet_length({row}.found::text)",
            )
        ]

    def __str__(self) -> str:
        return self.file_name
