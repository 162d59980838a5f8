"""Model fields and expressions that several models share."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.lookups import GreaterThanOrEqual, LessThanOrEqual
from django.utils.translation import gettext_lazy

from surveys.protocol.values import MonthDay, RainUnit, TemperatureUnit
from surveys.protocol.weather import NOISE, SKY

RAIN_UNITS = [(unit.value, unit.value) for unit in RainUnit]
TEMPERATURE_UNITS = [(unit.value, "°" + unit.value) for unit in TemperatureUnit]


SKY_CHOICES = [(state.value, gettext_lazy(words.name)) for state, words in SKY.items()]
NOISE_CHOICES = [(effect.value, gettext_lazy(words.name)) for effect, words in NOISE.items()]


def sky_field() -> models.CharField:
    """What the sky did; blank where it was not written down."""
    return models.CharField(max_length=20, choices=SKY_CHOICES, blank=True)


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


def any_time_or_days_exist(first: str, last: str) -> models.Q:
    """A condition that holds when both ends are missing or both are days of some year."""
    parts = [f"{end}_{part}" for end in (first, last) for part in ("month", "day")]
    # Said expressly, because a check that is null where a part is missing would hold.
    whole = models.Q(**{f"{part}__isnull": False for part in parts})
    any_time = models.Q(**{f"{part}__isnull": True for part in parts})
    return any_time | (whole & month_days_exist(first, last))


class WithCallingSeason:
    """For models with `calls_from_…` and `calls_to_…`."""

    @property
    def calling_season(self) -> tuple[MonthDay, MonthDay] | None:
        """First and last day of the season in which the species calls; None: at any time."""
        if None in (self.calls_from_month, self.calls_to_month):
            return None
        return (
            MonthDay(month=self.calls_from_month, day=self.calls_from_day),
            MonthDay(month=self.calls_to_month, day=self.calls_to_day),
        )


def in_range(name: str, low: int, high: int) -> models.Q:
    """Missing, or between `low` and `high`."""
    return models.Q(**{f"{name}__isnull": True}) | models.Q(**{f"{name}__range": (low, high)})


def is_choice(name: str, choices: list[tuple[str, str]]) -> models.Q:
    """Blank, or one of the choices."""
    return models.Q(**{f"{name}__in": ["", *dict(choices)]})


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
