"""A form field for each kind of limit. A field shows what is stored in the units of the program,
and cleans to what is stored."""

import math
import re
from collections.abc import Callable, Mapping
from decimal import Decimal

from django import forms
from django.utils.translation import gettext_lazy

from surveys.language import gettext, said
from surveys.protocol.limits.limit import Kind, Limit
from surveys.protocol.limits.phrases import Units
from surveys.protocol.values import DistanceUnit, Temperature, TemperatureUnit
from surveys.protocol.weather import (
    METERS_PER_FOOT,
    METERS_PER_MILE,
    from_celsius,
    plain_number,
    to_celsius,
)
from surveys.web.forms.fields import MeasureField, TimeField


def limit_field(limit: Limit, units: Units) -> forms.Field:
    options = {
        "label": limit.in_units(limit.label, units),
        "help_text": limit.in_units(limit.help, units),
        "required": not limit.may_be_unset,
    }
    return _FIELDS[limit.kind](limit, units, **options)


class StoredMeasureField(MeasureField):
    """A measure that cleans to what is stored."""

    def clean(self, value: object) -> float | None:
        return self.stored(super().clean(value))


class MinutesField(StoredMeasureField):
    """Whole seconds, typed in minutes."""

    def __init__(self, **options: object) -> None:
        super().__init__(per_unit=60, max_digits=6, decimal_places=2, **options)

    def stored(self, typed: Decimal | None) -> int | None:
        return None if typed is None else round(typed * 60)


class TemperaturesWidget(forms.MultiWidget):
    """The lower and the higher temperature side by side."""

    template_name = "program/month_day.html"
    use_fieldset = True

    def __init__(self) -> None:
        def number(label: str) -> forms.NumberInput:
            return forms.NumberInput({"aria-label": label, "step": "any"})

        super().__init__({"from": number(gettext("From")), "to": number(gettext("To"))})

    def decompress(self, value: list[str] | None) -> list[str]:
        return value or ["", ""]


class TemperaturesField(forms.MultiValueField):
    """Two temperatures, stored in °C and typed in the program's unit."""

    default_error_messages = {
        "required": gettext_lazy("Give both temperatures."),
        "incomplete": gettext_lazy("Give both temperatures."),
    }

    def __init__(self, *, unit: TemperatureUnit, **options: object) -> None:
        self.unit = unit
        number = {"error_messages": {"invalid": gettext("A temperature is a number, such as 45.")}}
        fields = [forms.DecimalField(max_digits=5, decimal_places=2, **number) for _ in range(2)]
        super().__init__(fields=fields, widget=TemperaturesWidget(), **options)

    def prepare_value(self, value: list[Decimal | str] | None) -> list[str] | None:
        """What is stored in the unit of the program; what was typed as it was typed."""
        if value is None or not all(isinstance(bound, Decimal) for bound in value):
            return value
        shown = (plain_number(from_celsius(bound, self.unit).value) for bound in value)
        return [text.replace("−", "-") for text in shown]

    def compress(self, values: list[Decimal]) -> list[Decimal] | None:
        if not values:
            return None
        return [to_celsius(Temperature(value=value, unit=self.unit)) for value in values]

    def has_changed(self, initial: list[Decimal] | None, data: list[str]) -> bool:
        return [text.strip() for text in data] != self.prepare_value(initial)


class CodeTableWidget(forms.MultiWidget):
    """A box for each state: the codes that stand for it, with commas between them."""

    template_name = "program/code_table.html"
    use_fieldset = True

    def __init__(self, choices: Mapping[str, str]) -> None:
        self.labels = list(choices.values())
        attrs = {"autocomplete": "off", "size": 8}
        super().__init__({state: forms.TextInput(attrs) for state in choices})

    def decompress(self, value: list[str] | None) -> list[str]:
        return value or [""] * len(self.labels)

    def get_context(self, name: str, value: object, attrs: dict | None) -> dict:
        context = super().get_context(name, value, attrs)
        context["rows"] = list(zip(self.labels, context["widget"]["subwidgets"], strict=True))
        return context


class CodeTableField(forms.MultiValueField):
    """Codes as written, and the state that each stands for."""

    def __init__(self, *, choices: Mapping[str, str], **options: object) -> None:
        self.states = list(choices)
        fields = [forms.CharField(required=False, max_length=60) for _ in choices]
        widget = CodeTableWidget(choices)
        super().__init__(fields=fields, widget=widget, require_all_fields=False, **options)

    def prepare_value(self, value: dict[str, str] | list[str] | None) -> list[str] | None:
        """What is stored, by state; what was typed as it was typed."""
        if not isinstance(value, dict):
            return value
        return [
            ", ".join(code for code, state in value.items() if state == wanted)
            for wanted in self.states
        ]

    def compress(self, values: list[str]) -> dict[str, str]:
        table: dict[str, str] = {}
        for state, typed in zip(self.states, values, strict=False):
            for code in filter(None, re.split(r"[\s,;]+", typed)):
                if code in table and table[code] != state:
                    raise forms.ValidationError(
                        said("The code “{code}” stands for two things.", code=code)
                    )
                table[code] = state
        return table

    def has_changed(self, initial: dict[str, str] | None, data: list[str]) -> bool:
        return [(text or "").strip() for text in data] != self.prepare_value(initial or {})


def _length(limit: Limit, units: Units, **options: object) -> forms.Field:
    return MinutesField(**_range(limit, 60), **options)


def _whole(limit: Limit, units: Units, **options: object) -> forms.Field:
    return forms.IntegerField(min_value=limit.lowest, max_value=limit.highest, **options)


def _clock(limit: Limit, units: Units, **options: object) -> forms.Field:
    return TimeField(**options)


def _force(limit: Limit, units: Units, **options: object) -> forms.Field:
    numbered = [(str(force), f"{force}: {words}") for force, words in limit.told_choices().items()]
    choices = [("", gettext("No limit")), *numbered]
    return forms.TypedChoiceField(coerce=int, empty_value=None, choices=choices, **options)


def _choice(limit: Limit, units: Units, **options: object) -> forms.Field:
    unset = [("", gettext("No limit"))] if limit.may_be_unset else []
    choices = [*unset, *limit.told_choices().items()]
    return forms.TypedChoiceField(empty_value=None, choices=choices, **options)


def _choices(limit: Limit, units: Units, **options: object) -> forms.Field:
    return forms.MultipleChoiceField(
        choices=list(limit.told_choices().items()),
        widget=forms.CheckboxSelectMultiple,
        **{**options, "required": False},
    )


def _code_table(limit: Limit, units: Units, **options: object) -> forms.Field:
    return CodeTableField(choices=limit.told_choices(), **{**options, "required": False})


def _yes_no(limit: Limit, units: Units, **options: object) -> forms.Field:
    return forms.BooleanField(**{**options, "required": False})


def _long_distance(limit: Limit, units: Units, **options: object) -> forms.Field:
    per_unit = float(METERS_PER_MILE) if units.distance is DistanceUnit.MILES else 1000.0
    return StoredMeasureField(per_unit=per_unit, **_range(limit, per_unit), **options)


def _short_distance(limit: Limit, units: Units, **options: object) -> forms.Field:
    per_unit = float(METERS_PER_FOOT) if units.distance is DistanceUnit.MILES else 1.0
    return StoredMeasureField(
        per_unit=per_unit, shown_places=0, **_range(limit, per_unit), **options
    )


def _speed(limit: Limit, units: Units, **options: object) -> forms.Field:
    per_unit = float(METERS_PER_MILE) / 1000 if units.distance is DistanceUnit.MILES else 1.0
    return StoredMeasureField(
        per_unit=per_unit, shown_places=0, **_range(limit, per_unit), **options
    )


def _temperatures(limit: Limit, units: Units, **options: object) -> forms.Field:
    return TemperaturesField(unit=units.temperature, **options)


def _range(limit: Limit, per_unit: float) -> dict[str, int]:
    """The range as it is typed, rounded outward; `limit_problems` checks it all."""
    return {
        "min_value": math.floor(limit.lowest / per_unit),
        "max_value": math.ceil(limit.highest / per_unit),
    }


_FIELDS: dict[Kind, Callable[..., forms.Field]] = {
    Kind.LENGTH: _length,
    Kind.AFTER_SUNSET: _whole,
    Kind.CLOCK: _clock,
    Kind.COUNT: _whole,
    Kind.FORCE: _force,
    Kind.CHOICE: _choice,
    Kind.CHOICES: _choices,
    Kind.CODE_TABLE: _code_table,
    Kind.YES_NO: _yes_no,
    Kind.LONG_DISTANCE: _long_distance,
    Kind.SHORT_DISTANCE: _short_distance,
    Kind.SPEED: _speed,
    Kind.TEMPERATURES: _temperatures,
}
