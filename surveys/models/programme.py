"""A programme: the unit that everything else is scoped to."""

from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.db import models

from surveys.models.history import tracked
from surveys.protocol.values import DistanceUnit, TemperatureUnit


def check_time_zone(value: str) -> None:
    if value not in available_timezones():
        raise ValidationError(
            f"“{value}” is not a time zone name. Use one like America/Chicago or Europe/Berlin."
        )


def unit_choices(units: type[TemperatureUnit] | type[DistanceUnit]) -> list[tuple[str, str]]:
    return [(unit.value, unit.name.capitalize()) for unit in units]


@tracked
class Programme(models.Model):
    """A state, province or reserve network that runs calling surveys."""

    name = models.CharField(max_length=120, unique=True)
    slug = models.SlugField(max_length=60, unique=True)
    region = models.CharField(max_length=120, blank=True)
    time_zone = models.CharField(max_length=64, validators=[check_time_zone])
    temperature_unit = models.CharField(
        max_length=1, choices=unit_choices(TemperatureUnit), default=TemperatureUnit.CELSIUS.value
    )
    distance_unit = models.CharField(
        max_length=2, choices=unit_choices(DistanceUnit), default=DistanceUnit.KILOMETRES.value
    )
    contact_email = models.EmailField(blank=True)
    local_rules = models.TextField(
        blank=True,
        help_text="Local rules, access permission and emergency numbers, shown with the cautions.",
    )
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.name


route_code_validator = RegexValidator(
    r"^[A-Za-z0-9][A-Za-z0-9-]*$", "Use letters, digits and hyphens only, such as R07."
)
