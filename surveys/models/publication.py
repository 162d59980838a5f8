"""Publications: frozen yearly tables and their files."""

from __future__ import annotations

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.utils.translation import gettext_lazy

from surveys.models.program import Program

_FROZEN = pgtrigger.Update | pgtrigger.Delete


def _goes_with_its_publication(withdrawal: str) -> list[pgtrigger.Trigger]:
    """Never changed, and deleted only where `withdrawal`, a condition in SQL, holds of a row."""
    return [
        pgtrigger.Protect(name="frozen", operation=pgtrigger.Update),
        pgtrigger.Trigger(
            name="kept",
            when=pgtrigger.Before,
            operation=pgtrigger.Delete,
            func=(
                f"IF EXISTS ({withdrawal}) THEN RETURN OLD; END IF; "
                "RAISE EXCEPTION 'Cannot delete rows from %: the publication stands.', "
                "TG_TABLE_NAME;"
            ),
        ),
    ]


class Publication(models.Model):
    """A yearly trend table as it was published. A correction is a new version.

    Everything a reader can take away stands in its files; `sha256` is that of their list of
    checksums, so that it vouches for all of them.
    """

    program = models.ForeignKey(Program, on_delete=models.PROTECT, related_name="publications")
    season_year = models.PositiveSmallIntegerField()
    version = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=200)
    method = models.TextField()
    software = models.CharField(max_length=80)
    row_count = models.PositiveIntegerField()
    visit_count = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    reason = models.TextField(
        blank=True, help_text=gettext_lazy("Why this version replaces the one before.")
    )
    published_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    published_at = models.DateTimeField()

    class Meta:
        ordering = ["program", "-season_year", "-version"]
        constraints = [
            models.UniqueConstraint(
                fields=["program", "season_year", "version"], name="publication_version_unique"
            ),
            models.CheckConstraint(
                condition=models.Q(version=1) | ~models.Q(reason=""),
                name="publication_correction_has_reason",
            ),
        ]
        triggers = [pgtrigger.Protect(name="frozen", operation=_FROZEN)]

    @property
    def withdrawn(self) -> Withdrawal | None:
        """How it was withdrawn; None while it stands."""
        return getattr(self, "withdrawal", None)


class Withdrawal(models.Model):
    """A publication whose files are gone. What is needed to cite it stays: `url` and `license`
    stood in its files."""

    publication = models.OneToOneField(
        Publication, on_delete=models.PROTECT, related_name="withdrawal"
    )
    reason = models.TextField(help_text=gettext_lazy("Why it was withdrawn; readers see this."))
    url = models.CharField(max_length=500)
    license = models.CharField(max_length=40)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    withdrawn_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="withdrawal_has_reason")
        ]
        triggers = [pgtrigger.Protect(name="add_only", operation=_FROZEN)]


class Audience(models.TextChoices):
    """Who may have a file. Exact places are for those who were given that right."""

    OPEN = "open", gettext_lazy("Everyone who can see the publication")
    EXACT = "exact", gettext_lazy("People with access to exact locations")


class PublicationFile(models.Model):
    """A file of a publication. `kind` is its path within the publication, such as
    `data/visits.csv`; its bytes are the pieces in their order."""

    publication = models.ForeignKey(Publication, on_delete=models.CASCADE, related_name="files")
    order = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=80)
    meaning = models.CharField(max_length=200)
    media_type = models.CharField(max_length=120)
    audience = models.CharField(max_length=5, choices=Audience.choices, default=Audience.OPEN)
    rows = models.PositiveIntegerField(null=True, blank=True)
    bytes = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=64)

    class Meta:
        ordering = ["publication", "order"]
        constraints = [
            models.UniqueConstraint(
                fields=["publication", "kind"], name="publicationfile_kind_unique"
            ),
            models.CheckConstraint(
                condition=Q(audience__in=Audience.values), name="publicationfile_audience_known"
            ),
        ]
        triggers = _goes_with_its_publication(
            "SELECT FROM surveys_withdrawal WHERE publication_id = OLD.publication_id"
        )


class PublicationPiece(models.Model):
    """Bytes of a file. In the database, a publication is there whole or not at all, on every
    host and in every backup; in pieces, reading one needs little memory."""

    file = models.ForeignKey(PublicationFile, on_delete=models.CASCADE, related_name="pieces")
    number = models.PositiveIntegerField()
    content = models.BinaryField()

    class Meta:
        ordering = ["file", "number"]
        constraints = [
            models.UniqueConstraint(fields=["file", "number"], name="publicationpiece_once")
        ]
        triggers = _goes_with_its_publication(
            "SELECT FROM surveys_withdrawal JOIN surveys_publicationfile AS file "
            "USING (publication_id) WHERE file.id = OLD.file_id"
        )


class ExactDownload(models.Model):
    """Exact places left the house: who took what, and when. Rows can only be added."""

    program = models.ForeignKey(Program, on_delete=models.PROTECT, related_name="exact_downloads")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    what = models.CharField(max_length=200)
    path = models.CharField(max_length=300)
    by_token = models.CharField(max_length=120, blank=True)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["program", "-at", "-pk"]
        triggers = [pgtrigger.Protect(name="add_only", operation=_FROZEN)]
