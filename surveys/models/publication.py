"""Publications: frozen yearly tables."""

import pgtrigger
from django.conf import settings
from django.db import models

from surveys.models.programme import Programme


class Publication(models.Model):
    """A yearly trend table as it was published. A correction is a new version."""

    programme = models.ForeignKey(Programme, on_delete=models.PROTECT, related_name="publications")
    season_year = models.PositiveSmallIntegerField()
    version = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=200)
    table_csv = models.TextField()
    dictionary_csv = models.TextField()
    method = models.TextField()
    software = models.CharField(max_length=80)
    row_count = models.PositiveIntegerField()
    visit_count = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    reason = models.TextField(blank=True, help_text="Why this version replaces the one before.")
    published_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    published_at = models.DateTimeField()

    class Meta:
        ordering = ["programme", "-season_year", "-version"]
        constraints = [
            models.UniqueConstraint(
                fields=["programme", "season_year", "version"], name="publication_version_unique"
            ),
            models.CheckConstraint(
                condition=models.Q(version=1) | ~models.Q(reason=""),
                name="publication_correction_has_reason",
            ),
        ]
        triggers = [pgtrigger.Protect(name="frozen", operation=pgtrigger.Update | pgtrigger.Delete)]
