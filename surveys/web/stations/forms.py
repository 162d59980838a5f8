"""The file of a weather station, and where the station is."""

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.importing.reading import MOST_BYTES
from surveys.models import Program
from surveys.programs.places import read_place
from surveys.protocol.values import Place, RainUnit, TemperatureUnit
from surveys.web.forms.fields import UploadedFileField
from surveys.web.forms.refusals import add_refusal

RAIN_UNITS = [
    ("mm", gettext_lazy("Millimeters")),
    ("tenth_mm", gettext_lazy("Tenths of a millimeter")),
    ("in", gettext_lazy("Inches")),
]
TEMPERATURE_UNITS = [
    ("C", gettext_lazy("°C")),
    ("tenth_c", gettext_lazy("Tenths of a °C")),
    ("F", gettext_lazy("°F")),
]


class StationForm(Form):
    file = UploadedFileField(
        label=gettext_lazy("Daily file"),
        help_text=gettext_lazy(
            "The .dly or the by-station CSV of GHCN-Daily, or a CSV with the columns date, rain, "
            "high and low. Up to 10 MB."
        ),
        accept=".dly,.csv,.txt",
        most_bytes=MOST_BYTES,
        too_large=gettext_lazy(
            "The file is larger than 10 MB. Keep the years of the surveys only."
        ),
    )
    name = forms.CharField(
        label=gettext_lazy("Name of the station"),
        max_length=120,
        help_text=gettext_lazy("The name that its owner uses."),
    )
    code = forms.CharField(
        label=gettext_lazy("Code of the station"),
        max_length=40,
        required=False,
        help_text=gettext_lazy(
            "Leave it blank for a GHCN-Daily file: the code is in the file. If a station here has "
            "the code already, the days are added to it."
        ),
    )
    latitude = forms.CharField(
        label=gettext_lazy("Latitude"),
        max_length=20,
        help_text=gettext_lazy("Where the gauge is, such as 43.07310."),
    )
    longitude = forms.CharField(
        label=gettext_lazy("Longitude"), max_length=20, help_text=gettext_lazy("Such as −89.40120.")
    )
    rain_unit = forms.ChoiceField(label=gettext_lazy("Rain in a plain CSV"), choices=RAIN_UNITS)
    temperature_unit = forms.ChoiceField(
        label=gettext_lazy("Temperature in a plain CSV"), choices=TEMPERATURE_UNITS
    )

    place: Place

    def __init__(self, *args: object, program: Program) -> None:
        units = {
            "rain_unit": "in" if program.rain_unit == RainUnit.INCHES else "mm",
            "temperature_unit": TemperatureUnit(program.temperature_unit).value,
        }
        super().__init__(*args, initial=units)

    def clean(self) -> dict[str, object]:
        cleaned = super().clean()
        if "latitude" in cleaned and "longitude" in cleaned:
            try:
                self.place = read_place(cleaned["latitude"], cleaned["longitude"])
            except ValidationError as refusal:
                add_refusal(self, refusal)
        return cleaned
