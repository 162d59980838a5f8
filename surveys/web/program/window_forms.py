"""Forms for the season windows of a protocol version."""

from decimal import Decimal

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy

from accounts.form_errors import Form
from surveys.language import gettext
from surveys.models import Program
from surveys.models.fields import TEMPERATURE_UNITS
from surveys.protocol.values import (
    Protocol,
    SeasonWindow,
    Temperature,
    TemperatureUnit,
)
from surveys.protocol.weather import plain_number
from surveys.web.forms.fields import MonthDayField
from surveys.web.numbers import whole_number

MOST_WINDOWS = 12


class WindowForm(Form):
    """One season window. An empty form among filled ones is left out."""

    name = forms.CharField(max_length=60)
    opens = MonthDayField(label=gettext_lazy("Opens on"))
    closes = MonthDayField(label=gettext_lazy("Closes on"))
    min_air_temperature = forms.DecimalField(
        label=gettext_lazy("Minimum air temperature"),
        required=False,
        max_digits=5,
        decimal_places=2,
    )
    min_water_temperature = forms.DecimalField(
        label=gettext_lazy("Minimum water temperature"),
        required=False,
        max_digits=5,
        decimal_places=2,
    )
    temperature_unit = forms.ChoiceField(
        label=gettext_lazy("Temperatures in"), choices=TEMPERATURE_UNITS
    )

    def __init__(self, *args: object, unit: str, **options: object) -> None:
        super().__init__(*args, **options)
        self.fields["temperature_unit"].initial = unit

    def window(self) -> SeasonWindow:
        facts = self.cleaned_data
        unit = TemperatureUnit(facts["temperature_unit"])
        air, water = facts["min_air_temperature"], facts["min_water_temperature"]
        return SeasonWindow(
            name=facts["name"],
            opens=facts["opens"],
            closes=facts["closes"],
            min_air_temperature=None if air is None else Temperature(value=air, unit=unit),
            min_water_temperature=None if water is None else Temperature(value=water, unit=unit),
        )


class BaseWindowFormSet(forms.BaseFormSet):
    default_error_messages = {
        "missing_management_form": gettext_lazy(
            "Some of the page did not arrive. Load it again and type your changes again."
        ),
        "too_many_forms": gettext_lazy("Remove windows until there are %(num)d."),
    }

    def add_fields(self, form: WindowForm, index: int | None) -> None:
        super().add_fields(form, index)
        form.fields["DELETE"].label = gettext("Remove this window")

    def windows(self) -> tuple[SeasonWindow, ...]:
        """The windows as typed, in the order of the forms. Only after `is_valid`."""
        return tuple(
            form.window()
            for form in self.forms
            if not form.cleaned_data.get("DELETE")
            and (form.has_changed() or not form.empty_permitted)
        )


def _formset(extra: int) -> type[BaseWindowFormSet]:
    return forms.formset_factory(
        WindowForm,
        formset=BaseWindowFormSet,
        extra=extra,
        can_delete=True,
        max_num=MOST_WINDOWS,
        validate_max=True,
        absolute_max=MOST_WINDOWS,
    )


def window_formset(
    data: QueryDict | None, *, protocol: Protocol | None, program: Program
) -> BaseWindowFormSet:
    """The windows of `protocol` to change, or one empty form when there are none."""
    windows = protocol.windows if protocol else ()
    initial = [_window_initial(window, program) for window in windows]
    formset = _formset(extra=0 if initial else 1)
    unit = {"temperature_unit": program.temperature_unit}
    return formset(
        data,
        initial=initial or [unit],
        prefix="windows",
        form_kwargs={"unit": program.temperature_unit},
    )


def with_one_more(data: QueryDict, program: Program) -> QueryDict:
    """Posted data with room for another window."""
    more = data.copy()
    number = whole_number(data.get("windows-TOTAL_FORMS", "")) or 0
    if number < MOST_WINDOWS:
        more["windows-TOTAL_FORMS"] = str(number + 1)
        more[f"windows-{number}-temperature_unit"] = program.temperature_unit
    return more


def _shown(temperature: Temperature) -> Decimal:
    """`42`, not `42.00`."""
    return Decimal(plain_number(temperature.value).replace("−", "-"))


def _window_initial(window: SeasonWindow, program: Program) -> dict[str, object]:
    air, water = window.min_air_temperature, window.min_water_temperature
    set_in = air or water
    return {
        "name": window.name,
        "opens": window.opens,
        "closes": window.closes,
        "min_air_temperature": air and _shown(air),
        "min_water_temperature": water and _shown(water),
        "temperature_unit": set_in.unit.value if set_in else program.temperature_unit,
    }
