"""What the catalog knows of its species: where and when they call, and what sounds like them."""

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.utils.translation import gettext_lazy

from surveys.language import gettext
from surveys.models.fields import (
    WithCallingSeason,
    any_time_or_days_exist,
    day_field,
    month_field,
)
from surveys.models.species import Species


class SeasonMark(models.TextChoices):
    """How sure a calling season of the catalog is."""

    SURE = "sure", gettext_lazy("sure")
    FAIRLY_SURE = "fairly sure", gettext_lazy("fairly sure")
    UNSURE = "unsure", gettext_lazy("unsure")


class CallingRegion(models.Model):
    """A part of the continent in which a species calls at about the same time of the year."""

    code = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=80)
    order = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["order", "pk"]

    def __str__(self) -> str:
        return gettext(self.name)


class SpeciesInRegion(WithCallingSeason, models.Model):
    """A species of a region, and when it calls there: a starting value for checklists.

    Without a season the species may call at any time of the year. A silent species has neither
    season nor mark.
    """

    species = models.ForeignKey(Species, on_delete=models.CASCADE, related_name="in_regions")
    region = models.ForeignKey(CallingRegion, on_delete=models.CASCADE, related_name="species")
    calls_from_month = month_field(null=True, blank=True)
    calls_from_day = day_field(null=True, blank=True)
    calls_to_month = month_field(null=True, blank=True)
    calls_to_day = day_field(null=True, blank=True)
    mark = models.CharField(max_length=12, choices=SeasonMark.choices, blank=True)
    is_introduced = models.BooleanField(default=False)

    class Meta:
        ordering = ["region", "species"]
        constraints = [
            models.UniqueConstraint(fields=["species", "region"], name="species_once_in_region"),
            models.CheckConstraint(
                condition=any_time_or_days_exist("calls_from", "calls_to"),
                name="species_in_region_season_exists",
            ),
            models.CheckConstraint(
                condition=models.Q(mark__in=["", *SeasonMark.values]),
                name="species_in_region_mark_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.species}, {self.region}"


class LookAlikes(models.Model):
    """Species that are taken for each other by ear, and how they differ."""

    code = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=80)
    members = models.ManyToManyField(Species, related_name="look_alikes")
    # Birds, insects and other things that sound like one of the members.
    other_sounds = ArrayField(models.CharField(max_length=80), default=list, blank=True)
    how = models.TextField()
    order = models.PositiveSmallIntegerField(default=0)

    class Meta:
        verbose_name_plural = "look-alikes"
        ordering = ["order", "pk"]

    def __str__(self) -> str:
        return gettext(self.name)

    @property
    def told_how(self) -> str:
        """`how` in the reader's language."""
        return gettext(self.how)

    @property
    def told_sounds(self) -> list[str]:
        """`other_sounds` in the reader's language."""
        return [gettext(sound) for sound in self.other_sounds]
