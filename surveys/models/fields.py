"""Model fields and expressions that several models share."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.lookups import GreaterThanOrEqual, LessThanOrEqual

from surveys.protocol.values import RainUnit, TemperatureUnit

RAIN_UNITS = [(unit.value, unit.value) for unit in RainUnit]
TEMPERATURE_UNITS = [(unit.value, "°" + unit.value) for unit in TemperatureUnit]


def celsius_field(**options) -> models.DecimalField:
    """°C to four places, so that 42 °F (5.5556 °C) compares equal to itself."""
    return models.DecimalField(max_digits=8, decimal_places=4, null=True, blank=True, **options)


def typed_unit_field() -> models.CharField:
    """The unit that was typed; the value itself is stored in °C."""
    return models.CharField(max_length=1, choices=TEMPERATURE_UNITS, blank=True)


def millimeters_field() -> models.DecimalField:
    """mm to two places, so that 0.01 in (0.25 mm) gives back 0.01 in."""
    return models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)


def month_field(**options) -> models.PositiveSmallIntegerField:
    return models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(12)], **options
    )


def day_field(**options) -> models.PositiveSmallIntegerField:
    return models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(31)], **options
    )


def month_days_exist(*ends: str) -> models.Q:
    """A condition that holds when every `<end>_month` / `<end>_day` is a day of some year."""
    condition = models.Q()
    for end in ends:
        month, day = f"{end}_month", f"{end}_day"
        condition &= (
            models.Q(**{f"{month}__in": [1, 3, 5, 7, 8, 10, 12], f"{day}__range": (1, 31)})
            | models.Q(**{f"{month}__in": [4, 6, 9, 11], f"{day}__range": (1, 30)})
            | models.Q(**{f"{month}": 2, f"{day}__range": (1, 29)})
        )
    return condition


def in_range(name: str, low: int, high: int) -> models.Q:
    """Missing, or between `low` and `high`."""
    return models.Q(**{f"{name}__isnull": True}) | models.Q(**{f"{name}__range": (low, high)})


def within_wgs84(name: str, table: str) -> list[models.CheckConstraint]:
    """Constraints that keep a geography point on the globe."""

    def coordinate(function: str) -> models.Func:
        return models.Func(
            models.F(name),
            template=f"{function}(%(expressions)s::geometry)",
            output_field=models.FloatField(),
        )

    bounds = {"ST_X": 180.0, "ST_Y": 90.0}
    return [
        models.CheckConstraint(
            condition=models.Q(GreaterThanOrEqual(coordinate(function), -bound))
            & models.Q(LessThanOrEqual(coordinate(function), bound)),
            name=f"{table}_{name}_{function.lower()}_wgs84",
        )
        for function, bound in bounds.items()
    ]
