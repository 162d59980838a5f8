"""Routes, their stops, and who surveys them in which season year."""

from django.conf import settings
from django.contrib.gis.db import models as gis
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import ArrayField, DateRangeField, RangeOperators
from django.db import models
from django.db.models import F, Func
from django.utils.translation import gettext_lazy

from surveys.models.fields import within_wgs84
from surveys.models.history import tracked
from surveys.models.program import Program, route_code_validator
from surveys.models.protocol import Protocol


class Habitat(models.TextChoices):
    GRASSY = "grassy", gettext_lazy("Grassy wetland")
    SHRUB = "shrub", gettext_lazy("Shrubby wetland")
    WOODED = "wooded", gettext_lazy("Wooded swamp or woodland pool")
    MARSH = "marsh", gettext_lazy("Marsh with tall reeds")
    LAKE = "lake", gettext_lazy("Lake or reservoir edge")
    RIVER = "river", gettext_lazy("River or flood plain")
    DITCH = "ditch", gettext_lazy("Ditch or roadside water")
    FARM = "farm", gettext_lazy("Farm or garden pond")
    OTHER = "other", gettext_lazy("Other")


class RouteChoice(models.TextChoices):
    """How the place of a route was chosen. It decides what its trend speaks for."""

    RANDOM = "random", gettext_lazy("At random")
    HABITAT = "habitat", gettext_lazy("By habitat: where wetlands suit frogs and toads")
    HEARD = "heard", gettext_lazy("Because the species were heard there")
    UNKNOWN = "unknown", gettext_lazy("Not known")


class Hydroperiod(models.TextChoices):
    """How long a wetland holds water in most years."""

    WEEKS = "weeks", gettext_lazy("A few weeks after rain")
    SEASON = "season", gettext_lazy("A season, dry every year")
    MOST_YEARS = "most_years", gettext_lazy("Dry only in drought years")
    ALWAYS = "always", gettext_lazy("Always")
    UNKNOWN = "unknown", gettext_lazy("Not known")


class Presence(models.TextChoices):
    YES = "yes", gettext_lazy("Yes")
    NO = "no", gettext_lazy("No")
    UNKNOWN = "unknown", gettext_lazy("Not known")


@tracked
class Route(models.Model):
    """A fixed line of stops that is surveyed in one night."""

    program = models.ForeignKey(Program, on_delete=models.PROTECT, related_name="routes")
    protocol = models.ForeignKey(Protocol, on_delete=models.PROTECT, related_name="routes")
    code = models.CharField(max_length=20, validators=[route_code_validator])
    name = models.CharField(max_length=120)
    region = models.CharField(max_length=120, blank=True)
    # What kind of land the route was drawn from, where a program sampled by strata.
    stratum = models.CharField(max_length=120, blank=True, default="", db_default="")
    line = gis.LineStringField(geography=True, srid=4326, null=True, blank=True)
    access_notes = models.TextField(
        blank=True,
        help_text=gettext_lazy("Where to park, whose permission you need, what to watch for."),
    )
    active = models.BooleanField(default=True)
    chosen = models.CharField(
        max_length=10, choices=RouteChoice.choices, default=RouteChoice.UNKNOWN
    )

    class Meta:
        ordering = ["program", "code"]
        constraints = [
            models.UniqueConstraint(fields=["program", "code"], name="route_code_unique"),
            models.CheckConstraint(
                condition=models.Q(chosen__in=RouteChoice.values), name="route_choice_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


@tracked
class Stop(models.Model):
    """A listening point. A stop that moves is closed and a new one opened under
    the same number, so that old visits keep the place where they listened."""

    route = models.ForeignKey(Route, on_delete=models.PROTECT, related_name="stops")
    number = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=120)
    # To tell a dispatcher where one is. Never published: they name the place.
    road = models.CharField(max_length=120, blank=True, db_default="")
    county = models.CharField(max_length=120, blank=True, db_default="")
    place = gis.PointField(geography=True, srid=4326)
    active_from = models.DateField()
    active_until = models.DateField(null=True, blank=True)
    habitat = models.CharField(max_length=20, choices=Habitat.choices, default=Habitat.OTHER)
    hydroperiod = models.CharField(
        max_length=20, choices=Hydroperiod.choices, default=Hydroperiod.UNKNOWN
    )
    fish = models.CharField(max_length=10, choices=Presence.choices, default=Presence.UNKNOWN)
    last_burn = models.DateField(null=True, blank=True)
    notes = models.TextField(blank=True)

    class Meta:
        ordering = ["route", "number", "active_from"]
        constraints = [
            ExclusionConstraint(
                name="stop_number_unique_in_route",
                expressions=[
                    ("route", RangeOperators.EQUAL),
                    ("number", RangeOperators.EQUAL),
                    (
                        Func(
                            F("active_from"),
                            F("active_until"),
                            models.Value("[]"),
                            function="daterange",
                            output_field=DateRangeField(),
                        ),
                        RangeOperators.OVERLAPS,
                    ),
                ],
            ),
            models.CheckConstraint(
                condition=models.Q(active_until__isnull=True)
                | models.Q(active_until__gte=F("active_from")),
                name="stop_active_order",
            ),
            models.CheckConstraint(condition=models.Q(number__gte=1), name="stop_number_from_1"),
            *within_wgs84("place", "stop"),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


@tracked
class Assignment(models.Model):
    """Who surveys a route in a season year: in all of its windows, or in those named."""

    route = models.ForeignKey(Route, on_delete=models.CASCADE, related_name="assignments")
    observer = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="assignments"
    )
    season_year = models.PositiveSmallIntegerField()
    # Names of windows; empty: the whole season.
    windows = ArrayField(
        models.CharField(max_length=60), default=list, blank=True, db_default=models.Value("{}")
    )

    class Meta:
        ordering = ["season_year", "route"]
        constraints = [
            models.UniqueConstraint(
                fields=["route", "observer", "season_year"], name="assignment_once"
            )
        ]
