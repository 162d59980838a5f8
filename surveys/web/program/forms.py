"""Form for the facts of a program."""

from zoneinfo import available_timezones

from django import forms
from django.utils.translation import gettext_lazy

from surveys.language import gettext
from surveys.models import CallingRegion, Program
from surveys.models.program import unit_choices
from surveys.protocol.countries import countries
from surveys.protocol.values import (
    DistanceUnit,
    TemperatureUnit,
)
from surveys.web.forms.seen import SeenForm

# The first part of a name in the IANA time zone database; what is left out are other names.
_REGIONS = (
    *("Africa", "America", "Antarctica", "Asia", "Atlantic", "Australia", "Europe"),
    *("Indian", "Pacific", "UTC"),
)


def _time_zones(current: str) -> list[tuple[str, str]]:
    names = {name for name in available_timezones() if name.split("/")[0] in _REGIONS}
    return [(name, name) for name in sorted({*names, current})]


def _countries() -> list[tuple[str, str]]:
    """Choices of country, by name; the codes are those of ISO 3166-1 alpha-2."""
    named = sorted((gettext(name), code) for code, name in countries().items())
    return [("", gettext("Not given")), *((code, f"{name} ({code})") for name, code in named)]


class FactsForm(SeenForm):
    """Everything that `change_facts` takes."""

    name = forms.CharField(max_length=120)
    region = forms.CharField(
        max_length=120,
        required=False,
        help_text=gettext_lazy("The state, province or reserve it covers."),
    )
    country_code = forms.ChoiceField(
        label=gettext_lazy("Country"),
        choices=_countries,
        required=False,
        help_text=gettext_lazy(
            "For the Darwin Core Archive, which is combined with data from other countries. Leave "
            "it empty if the program crosses a border."
        ),
    )
    calling_region = forms.ModelChoiceField(
        label=gettext_lazy("Calling region"),
        queryset=CallingRegion.objects.all(),
        required=False,
        empty_label=gettext_lazy("None"),
        help_text=gettext_lazy(
            "Offers its species and calling seasons for the checklist. Changing it leaves the "
            "species already on the checklist as they are."
        ),
    )
    time_zone = forms.ChoiceField(
        label=gettext_lazy("Time zone"),
        help_text=gettext_lazy("All clock times in the program are in this zone."),
    )
    temperature_unit = forms.ChoiceField(
        label=gettext_lazy("Temperatures in"), choices=unit_choices(TemperatureUnit)
    )
    distance_unit = forms.ChoiceField(
        label=gettext_lazy("Distances in"), choices=unit_choices(DistanceUnit)
    )
    clock_style = forms.ChoiceField(
        label=gettext_lazy("Clock times"),
        choices=Program._meta.get_field("clock_style").choices,
        help_text=gettext_lazy("How times are shown. Both forms can be typed everywhere."),
    )
    date_order = forms.ChoiceField(
        label=gettext_lazy("Dates"),
        choices=Program._meta.get_field("date_order").choices,
        help_text=gettext_lazy(
            "How dates are shown, and how a typed date such as 3/4/2026 is read. "
            "Downloads for analysts always have 2026-04-03."
        ),
    )
    contact_email = forms.EmailField(
        label=gettext_lazy("Contact email"),
        required=False,
        help_text=gettext_lazy("Public. Shown in publications and in emails to members."),
    )
    emergency_number = forms.CharField(
        label=gettext_lazy("Emergency number"),
        max_length=20,
        required=False,
        help_text=gettext_lazy("What observers call for help, such as 911."),
    )
    emergency_contact = forms.CharField(
        label=gettext_lazy("Emergency contact"),
        max_length=120,
        required=False,
        help_text=gettext_lazy(
            "Name and phone number of someone in the program to tell afterward. Shown to members "
            "only: on Tonight, the printed sheet and the emergency card of the phone."
        ),
    )
    local_rules = forms.CharField(
        label=gettext_lazy("Local rules"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 8}),
        help_text=gettext_lazy(
            "Access permission, local law, hygiene between wetlands, emergency "
            "numbers. Observers see this with the cautions before they go out."
        ),
    )

    def __init__(self, *args: object, program: Program, **options: object) -> None:
        names = list(self.base_fields)
        initial = {name: getattr(program, name) for name in names}
        initial["calling_region"] = program.calling_region_id or ""
        super().__init__(*args, initial=initial, **options)
        self.fields["time_zone"].choices = _time_zones(program.time_zone)
