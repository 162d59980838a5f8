"""A program: the unit that everything else is scoped to."""

import secrets
from collections.abc import Mapping
from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator
from django.db import models
from django.utils.translation import gettext_lazy

from surveys.dates import ClockStyle, DateOrder, DateStyle, usual_style
from surveys.language import said
from surveys.models.history import tracked
from surveys.protocol.countries import countries
from surveys.protocol.telling import Reader
from surveys.protocol.values import DistanceUnit, RainUnit, TemperatureUnit, rain_unit_beside


def check_time_zone(value: str) -> None:
    if value not in available_timezones():
        raise ValidationError(
            said(
                "“{value}” is not a time zone name. Use one like America/Chicago or Europe/Berlin.",
                value=value,
            )
        )


def check_country_code(value: str) -> None:
    if value not in countries():
        raise ValidationError(
            said(
                "“{value}” is not a country code. Use the two capital letters of ISO "
                "3166-1, such as US or DE, or leave it blank.",
                value=value,
            )
        )


class Sensitivity(models.IntegerChoices):
    """How far places must be generalized when data leave the house
    (Chapman 2020, doi:10.15468/doc-5jp4-5g10)."""

    OPEN = 0, gettext_lazy("Open")
    LOW = 1, gettext_lazy("Low: 0.001°")
    MEDIUM = 2, gettext_lazy("Medium: 0.01°")
    HIGH = 3, gettext_lazy("High: 0.1°")
    EXTREME = 4, gettext_lazy("Extreme: withheld")


class PublicationAudience(models.TextChoices):
    """Who may see the publications of a program."""

    MEMBERS = "members", gettext_lazy("Members of the program only")
    LINK = "link", gettext_lazy("Members and anyone with the link")
    PUBLIC = "public", gettext_lazy("Everyone")


class DataLicense(models.TextChoices):
    """Licenses by their SPDX identifiers (spdx.org/licenses)."""

    CC0 = "CC0-1.0", gettext_lazy("CC0 1.0: no conditions")
    CC_BY = "CC-BY-4.0", gettext_lazy("CC BY 4.0: with attribution")
    CC_BY_NC = "CC-BY-NC-4.0", gettext_lazy("CC BY-NC 4.0: with attribution, noncommercial")


def new_key() -> str:
    """256 random bits, as text that may stand in a URL."""
    return secrets.token_urlsafe(32)


def unit_choices(units: type[TemperatureUnit] | type[DistanceUnit]) -> list[tuple[str, str]]:
    return [(unit.value, _UNITS[unit]) for unit in units]


_UNITS = {
    TemperatureUnit.CELSIUS: gettext_lazy("Celsius"),
    TemperatureUnit.FAHRENHEIT: gettext_lazy("Fahrenheit"),
    DistanceUnit.KILOMETERS: gettext_lazy("Kilometers"),
    DistanceUnit.MILES: gettext_lazy("Miles"),
}


@tracked
class Program(models.Model):
    """A state, province or reserve network that runs calling surveys."""

    name = models.CharField(max_length=120, unique=True)
    slug = models.SlugField(max_length=60, unique=True)
    region = models.CharField(max_length=120, blank=True)
    # Whose calling seasons the checklist begins with.
    calling_region = models.ForeignKey(
        "surveys.CallingRegion",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="programs",
    )
    country_code = models.CharField(
        max_length=2,
        blank=True,
        validators=[check_country_code],
        help_text=gettext_lazy("ISO 3166-1 alpha-2"),
    )
    time_zone = models.CharField(max_length=64, validators=[check_time_zone])
    temperature_unit = models.CharField(
        max_length=1, choices=unit_choices(TemperatureUnit), default=TemperatureUnit.CELSIUS.value
    )
    distance_unit = models.CharField(
        max_length=2, choices=unit_choices(DistanceUnit), default=DistanceUnit.KILOMETERS.value
    )
    clock_style = models.CharField(
        max_length=2,
        choices=[
            (ClockStyle.TWELVE.value, gettext_lazy("12 hours: 9:14 pm")),
            (ClockStyle.TWENTY_FOUR.value, gettext_lazy("24 hours: 21:14")),
        ],
        default=ClockStyle.TWENTY_FOUR.value,
        db_default=ClockStyle.TWENTY_FOUR.value,
    )
    date_order = models.CharField(
        max_length=3,
        choices=[
            (DateOrder.MONTH_FIRST.value, gettext_lazy("Month first: April 15, 2024; 4/15/2024")),
            (DateOrder.DAY_FIRST.value, gettext_lazy("Day first: 15 April 2024; 15/4/2024")),
            (DateOrder.YEAR_FIRST.value, gettext_lazy("Year first: 2024-04-15")),
        ],
        default=DateOrder.DAY_FIRST.value,
        db_default=DateOrder.DAY_FIRST.value,
    )
    contact_email = models.EmailField(blank=True)
    # For members only, with the cautions and on the phone.
    emergency_number = models.CharField(max_length=20, blank=True, default="911", db_default="911")
    emergency_contact = models.CharField(max_length=120, blank=True, db_default="")
    local_rules = models.TextField(
        blank=True,
        help_text=gettext_lazy(
            "Local rules, access permission and emergency numbers, shown with the cautions."
        ),
    )
    # Whether observers take a free route at once. Else they ask for it.
    routes_are_taken = models.BooleanField(default=False, db_default=False)
    # Whether observers with a valid call-identification test may hear recordings of others.
    tested_observers_listen = models.BooleanField(default=False, db_default=False)
    # By name of the region: what it counts in what is told of the whole program. Empty where
    # nothing is.
    region_weights = models.JSONField(
        default=dict, blank=True, db_default=models.Value({}, models.JSONField())
    )
    weights_are = models.CharField(max_length=120, blank=True, db_default="")
    place_sharing = models.PositiveSmallIntegerField(
        choices=Sensitivity.choices,
        default=Sensitivity.MEDIUM,
        help_text=gettext_lazy(
            "How precisely locations appear in publications. A sensitive species can blur "
            "them more, never less."
        ),
    )
    publication_audience = models.CharField(
        max_length=8, choices=PublicationAudience.choices, default=PublicationAudience.MEMBERS
    )
    publication_key = models.CharField(max_length=64, default=new_key, editable=False)
    # Observers who do not want to be named get a pseudonym made with this key.
    pseudonym_key = models.CharField(max_length=64, default=new_key, editable=False)
    data_license = models.CharField(
        max_length=16, choices=DataLicense.choices, default=DataLicense.CC_BY
    )
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(place_sharing__range=(0, 4)), name="program_place_sharing"
            ),
            models.CheckConstraint(
                condition=models.Q(clock_style__in=list(ClockStyle)),
                name="program_clock_style_known",
            ),
            models.CheckConstraint(
                condition=models.Q(date_order__in=list(DateOrder)), name="program_date_order_known"
            ),
            models.CheckConstraint(
                condition=models.Q(publication_audience__in=PublicationAudience.values),
                name="program_publication_audience_known",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def rain_unit(self) -> RainUnit:
        return rain_unit_beside(TemperatureUnit(self.temperature_unit))

    def write_dates_as_usual(self) -> None:
        """Set clock and date order as people write them in the country, or with the units."""
        fahrenheit = self.temperature_unit == TemperatureUnit.FAHRENHEIT.value
        miles = self.distance_unit == DistanceUnit.MILES.value
        usual = usual_style(self.country_code, fahrenheit_and_miles=fahrenheit and miles)
        self.clock_style, self.date_order = usual.clock.value, usual.order.value

    @property
    def date_style(self) -> DateStyle:
        return DateStyle(
            clock=ClockStyle(self.clock_style),
            order=DateOrder(self.date_order),
            time_zone=self.time_zone,
        )

    def reader(self, species: Mapping[str, str]) -> Reader:
        """Whoever reads the program's findings. `species` leads from codes to names."""
        return Reader(
            time_zone=self.time_zone,
            temperature_unit=TemperatureUnit(self.temperature_unit),
            distance_unit=DistanceUnit(self.distance_unit),
            species=species,
        )


route_code_validator = RegexValidator(
    r"^[A-Za-z0-9][A-Za-z0-9-]*$",
    gettext_lazy("Use letters, digits and hyphens only, such as R07."),
)
