"""A part of a sound that a program keeps as a reference call, and its terms."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import gettext, said
from surveys.models import DataLicense, Species
from surveys.models.fields import TEMPERATURE_UNITS
from surveys.protocol.values import Temperature, TemperatureUnit
from surveys.protocol.weather import to_celsius
from surveys.visits.media.references import LONGEST_S, Terms
from surveys.visits.media.sound_messages import SHORTEST_REFERENCE_S

# Outside of these no frog calls, or the unit is wrong. Common practice, no source.
COLDEST_CELSIUS, WARMEST_CELSIUS = -10, 50


class ReferenceForm(Form):
    """`extra` fields of the subclasses come first."""

    begin_s = forms.FloatField(
        label=gettext_lazy("From"),
        min_value=0,
        initial=0,
        help_text=gettext_lazy("In seconds from the beginning of the sound."),
    )
    end_s = forms.FloatField(label=gettext_lazy("To"), min_value=0, initial=10)
    consent = forms.CharField(
        label=gettext_lazy("How the person who recorded it agreed"),
        max_length=200,
        help_text=gettext_lazy(
            "Such as: by email on May 3. Only coordinators see this. If they did not agree, do "
            "not keep it."
        ),
    )
    license = forms.ChoiceField(label=gettext_lazy("License"), choices=DataLicense.choices)

    def __init__(self, *data: Any, **options: Any) -> None:
        super().__init__(*data, **options)
        self.fields["end_s"].help_text = said(
            "At most {longest} seconds after the beginning of the part. Choose clear calls, and no "
            "voices.",
            longest=f"{LONGEST_S:.0f}",
        )

    def clean(self) -> dict[str, Any]:
        part = super().clean() or {}
        if {"begin_s", "end_s"} <= part.keys():
            length = part["end_s"] - part["begin_s"]
            if length < SHORTEST_REFERENCE_S:
                self.add_error(
                    "end_s",
                    said(
                        "Choose at least {seconds} seconds after the beginning.",
                        seconds=SHORTEST_REFERENCE_S,
                    ),
                )
            elif length > LONGEST_S:
                self.add_error(
                    "end_s",
                    said(
                        "A reference call has at most {longest} seconds. Choose a shorter part.",
                        longest=f"{LONGEST_S:.0f}",
                    ),
                )
        return part

    def terms(self, air_celsius: float | None = None) -> Terms:
        facts = self.cleaned_data
        return Terms(
            license=facts["license"],
            consent=facts["consent"],
            credit=facts.get("credit", ""),
            air_celsius=air_celsius,
        )

    @property
    def part(self) -> dict[str, float]:
        return {name: self.cleaned_data[name] for name in ("begin_s", "end_s")}


class FileForm(ReferenceForm):
    sound = forms.FileField(
        label=gettext_lazy("Sound file"),
        help_text=gettext_lazy("WAV, FLAC, MP3, M4A, Ogg or WebM."),
        allow_empty_file=True,
        widget=forms.FileInput(attrs={"accept": "audio/*, .wav, .flac, .mp3, .m4a, .ogg, .webm"}),
    )
    credit = forms.CharField(
        label=gettext_lazy("Who recorded it"),
        max_length=120,
        help_text=gettext_lazy("The name that stands beside the call."),
    )
    air = forms.DecimalField(
        label=gettext_lazy("Air temperature when it was recorded"),
        required=False,
        max_digits=5,
        decimal_places=2,
        help_text=gettext_lazy(
            "Leave it empty if it is not known. If the calls pulse, they then give no hints."
        ),
    )
    air_unit = forms.ChoiceField(
        label=gettext_lazy("Temperature in"), choices=TEMPERATURE_UNITS, required=False
    )
    field_order = ("sound", "begin_s", "end_s", "air", "air_unit", "credit", "consent", "license")

    def clean(self) -> dict[str, Any]:
        facts = super().clean()
        celsius = self.air_celsius
        if celsius is not None and not COLDEST_CELSIUS <= celsius <= WARMEST_CELSIUS:
            self.add_error(
                "air", gettext("No frog calls at this temperature. Check the number and the unit.")
            )
        return facts

    @property
    def air_celsius(self) -> float | None:
        facts = self.cleaned_data
        if facts.get("air") is None or not facts.get("air_unit"):
            return None
        unit = TemperatureUnit(facts["air_unit"])
        return float(to_celsius(Temperature(value=facts["air"], unit=unit)))


class MarkForm(ReferenceForm):
    species = forms.ChoiceField(label=gettext_lazy("Species"))
    field_order = ("species", "begin_s", "end_s", "consent", "license")

    def __init__(self, *data: Any, confirmed: list[Species], **options: Any) -> None:
        super().__init__(*data, **options)
        self.fields["species"].choices = [(one.code, one.name) for one in confirmed]
