"""Weather stations near a program's routes, and what they measured day by day."""

from django.contrib.gis.db import models as gis
from django.db import models
from django.db.models import F, Q

from surveys.models.fields import celsius_field, millimeters_field, within_wgs84
from surveys.models.history import tracked
from surveys.models.program import Program


@tracked
class WeatherStation(models.Model):
    """A station whose daily file a coordinator brought. `code` is its own, such as an id of
    GHCN-Daily."""

    program = models.ForeignKey(Program, on_delete=models.PROTECT, related_name="stations")
    code = models.CharField(max_length=40)
    name = models.CharField(max_length=120)
    place = gis.PointField(geography=True, srid=4326)

    class Meta:
        ordering = ["program", "name", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["program", "code"], name="station_code_once"),
            models.CheckConstraint(condition=~Q(code=""), name="station_has_code"),
            *within_wgs84("place", "station"),
        ]

    def __str__(self) -> str:
        return self.name


class StationDay(models.Model):
    """One day of a station; a value that it has not is null. A new file replaces its days."""

    station = models.ForeignKey(WeatherStation, on_delete=models.CASCADE, related_name="days")
    day = models.DateField()
    rain_mm = millimeters_field()
    high_c = celsius_field()
    low_c = celsius_field()

    class Meta:
        ordering = ["station", "day"]
        constraints = [
            models.UniqueConstraint(fields=["station", "day"], name="station_day_once"),
            models.CheckConstraint(
                condition=Q(rain_mm__isnull=True) | Q(rain_mm__gte=0), name="station_rain"
            ),
            models.CheckConstraint(
                condition=Q(high_c__isnull=True)
                | Q(low_c__isnull=True)
                | Q(high_c__gte=F("low_c")),
                name="station_high_and_low",
            ),
        ]
