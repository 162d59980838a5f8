"""Stored results of the estimators, and the questions on power."""

from django.db import models
from django.utils.translation import gettext_lazy

from surveys.models.program import Program
from surveys.models.run import BackgroundRun
from surveys.models.species import Species


class SiteKind(models.TextChoices):
    STOP = "stop", gettext_lazy("Stop")
    ROUTE = "route", gettext_lazy("Route")


class SpeciesFit(models.Model):
    """Everything fitted for one species, kind of site and region (blank for all regions).

    `data_sha256` is that of the listening periods that went in. `data_stamp` is the program's
    stamp when they were last compared: a result whose stamp is not today's may be out of date,
    and is never shown without saying so.
    """

    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="fits")
    species = models.ForeignKey(Species, on_delete=models.CASCADE, related_name="fits")
    site = models.CharField(max_length=5, choices=SiteKind.choices)
    region = models.CharField(max_length=120, blank=True)
    result = models.JSONField()
    data_sha256 = models.CharField(max_length=64)
    data_stamp = models.CharField(max_length=64)
    software = models.CharField(max_length=80)
    fitted_at = models.DateTimeField()
    seconds = models.FloatField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["program", "species", "site", "region"], name="fit_once"
            ),
            models.CheckConstraint(
                condition=models.Q(site__in=SiteKind.values), name="fit_site_known"
            ),
        ]


class PowerStudy(models.Model):
    """A question of a coordinator: could the surveys show a fall of this species?

    `plan` holds the numbers of `surveys.trends.power.SurveyPlan` and the routes and visits to
    compare, `key` their checksum with the software; `result` the cells once they are simulated.
    `run` is the latest that was asked to do so.
    """

    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="power_studies")
    species = models.ForeignKey(Species, on_delete=models.CASCADE, related_name="power_studies")
    plan = models.JSONField()
    key = models.CharField(max_length=64)
    result = models.JSONField(null=True, blank=True)
    asked_at = models.DateTimeField()
    run = models.ForeignKey(
        BackgroundRun, on_delete=models.SET_NULL, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-asked_at"]
        constraints = [
            models.UniqueConstraint(fields=["program", "species", "key"], name="study_once")
        ]
