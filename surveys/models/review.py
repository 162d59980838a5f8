"""What the rules found, what the coordinator decided, and every step on the way."""

import pgtrigger
from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy

from surveys.models.history import tracked
from surveys.models.route import Stop
from surveys.models.species import Species
from surveys.models.visit import Visit
from surveys.protocol.telling import Told, note_in_words, tell_sentence
from surveys.protocol.values import Severity


class Settlement(models.TextChoices):
    COUNTS = "counts", gettext_lazy("Counts")
    LEFT_OUT = "left_out", gettext_lazy("Excluded from trends")


class Step(models.TextChoices):
    """A verb that was carried out on a visit."""

    SUBMITTED = "submitted", gettext_lazy("Submitted")
    CORRECTED = "corrected", gettext_lazy("Corrected")
    SETTLED = "settled", gettext_lazy("Question resolved")
    SENT_BACK = "sent_back", gettext_lazy("Sent back")
    ACCEPTED = "accepted", gettext_lazy("Accepted")
    SET_ASIDE = "set_aside", gettext_lazy("Set aside")
    REOPENED = "reopened", gettext_lazy("Reopened")
    CONFIRMED = "confirmed", gettext_lazy("Confirmed by ear")
    TAKEN_BACK = "taken_back", gettext_lazy("Confirmation withdrawn")
    WITHDRAWN = "withdrawn", gettext_lazy("Withdrawn to change it")
    MESSAGE = "message", gettext_lazy("Message")


@tracked
class StoredFinding(models.Model):
    """A finding on the submitted revision of a visit, and how it was settled."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="findings")
    code = models.CharField(max_length=60)
    severity = models.CharField(
        max_length=10, choices=[(s.value, s.name.capitalize()) for s in Severity]
    )
    stop = models.ForeignKey(
        Stop, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    species = models.ForeignKey(
        Species, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    field = models.CharField(max_length=60, blank=True)
    variant = models.CharField(max_length=60, blank=True)
    params = models.JSONField(default=dict, blank=True)
    # The words of findings from before they were stored as parameters, where no parameters could
    # be made of them. All others are said when they are read.
    message_as_stored = models.TextField(blank=True)
    remedy_as_stored = models.TextField(blank=True)
    settlement = models.CharField(max_length=10, choices=Settlement.choices, blank=True)
    reason = models.TextField(blank=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["visit", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(settlement="")
                | (Q(settled_by__isnull=False, settled_at__isnull=False) & ~Q(reason="")),
                name="finding_settled_with_reason",
            ),
            models.CheckConstraint(
                condition=Q(settlement__in=["", *Settlement.values]),
                name="finding_settlement_known",
            ),
        ]

    @property
    def message(self) -> str:
        return self._in_words.message

    @property
    def remedy(self) -> str:
        return self._in_words.remedy

    @cached_property
    def _in_words(self) -> Told:
        """In the language and the units of whoever reads. Select `visit__route__program` and
        `species` with the finding."""
        if self.message_as_stored:
            return Told(message=self.message_as_stored, remedy=self.remedy_as_stored)
        names = {self.species.code: self.species.name} if self.species else {}
        reader = self.visit.route.program.reader(names)
        return tell_sentence(self.code, self.variant, self.params, reader)


def never_changes() -> pgtrigger.Protect:
    return pgtrigger.Protect(name="never_changes", operation=pgtrigger.Update)


class Submission(models.Model):
    """The sheet as it came, kept for ever: a correction is a new submission."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="submissions")
    revision = models.PositiveIntegerField()
    cells = models.JSONField()
    submitted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    submitted_at = models.DateTimeField()

    class Meta:
        ordering = ["visit", "revision"]
        constraints = [
            models.UniqueConstraint(fields=["visit", "revision"], name="submission_revision_unique")
        ]
        triggers = [never_changes()]


class ReviewStep(models.Model):
    """Who did what to a visit, when and why."""

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="steps")
    step = models.CharField(max_length=10, choices=Step.choices)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    revision = models.PositiveIntegerField()
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["visit", "at", "pk"]
        triggers = [never_changes()]

    @property
    def told_note(self) -> str:
        return note_in_words(self.note)
