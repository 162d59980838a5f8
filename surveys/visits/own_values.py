"""Values of the program's own fields, as they are shown."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from decimal import Decimal

from surveys.language import gettext
from surveys.models import Program
from surveys.programs.in_force import own_fields_on
from surveys.protocol import words
from surveys.protocol.own_fields import CELL, AskedPer, OwnField, OwnValue
from surveys.protocol.weather import plain_number


def own_fields_of(program: Program, night: dt.date) -> tuple[OwnField, ...]:
    """The program's own fields as they stood on a night."""
    return own_fields_on(program.own_fields.order_by("order", "pk"), night)


def labels_by_cell(program: Program) -> dict[str, str]:
    """What the cells of the program's own fields are called, by `own.` and key."""
    labels = program.own_fields.values_list("key", "label")
    return {CELL + key: label for key, label in labels}


def own_facts(
    fields: Iterable[OwnField], values: Mapping[str, OwnValue]
) -> list[tuple[str, str, str]]:
    """Label and value in words of what was written down for the visit as a whole."""
    return [
        (field.label, value_in_words(field, values[field.key]), "")
        for field in fields
        if field.per is AskedPer.VISIT and field.key in values
    ]


def value_in_words(field: OwnField, value: OwnValue | None, *, unit: bool = True) -> str:
    """Empty where there is no value."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return gettext("yes") if value else gettext("no")
    if isinstance(value, str):
        return dict(field.choices).get(value, value)
    number = words.number(plain_number(Decimal(str(value))))
    return f"{number} {field.unit}".strip() if unit else number
