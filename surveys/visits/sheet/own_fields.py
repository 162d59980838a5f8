"""Reads the cells of the program's own fields."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from functools import partial

from surveys.protocol import params
from surveys.protocol.own_fields import CELL, AskedPer, FieldKind, OwnField, OwnValue
from surveys.protocol.weather import plain_number
from surveys.visits.sheet.part import Part
from surveys.visits.sheet.texts import (
    CellError,
    is_missing,
    read_integer,
    read_number,
    read_text,
    read_yes_no,
    shortened,
    unreadable,
)

LONGEST_TEXT = 500
# Letters that tell the beginning of a choice from a slip of the pen.
_SHORTEST_WORD = 3


def asked_per(fields: Iterable[OwnField], per: AskedPer) -> tuple[OwnField, ...]:
    return tuple(field for field in fields if field.per is per)


def labels_of(fields: Iterable[OwnField]) -> dict[str, str]:
    """What the cells of fields are called."""
    return {field.cell: field.label for field in fields}


def read_own_fields(part: Part, fields: Iterable[OwnField]) -> dict[str, OwnValue]:
    """The values by key; without those that are missing or cannot be read, which is reported."""
    read = {
        field.key: part.read(
            field.cell,
            partial(_READERS[field.kind], field=field),
            missing=partial(_is_missing, field=field),
        )
        for field in fields
    }
    return {key: value for key, value in read.items() if value is not None}


def without_place(texts: Mapping[str, str], fields: Iterable[OwnField]) -> list[str]:
    """Names of cells that no such field has."""
    known = {field.cell for field in fields}
    return [name for name in texts if name.startswith(CELL) and name not in known]


def _is_missing(text: str, field: OwnField) -> bool:
    """A choice may be called what elsewhere means "missing"."""
    names = {name.casefold() for choice in field.choices for name in choice}
    return is_missing(text) and text.strip().casefold() not in names


def _read_number(text: str, field: OwnField) -> OwnValue:
    number = _within(read_number(text), text, field)
    return int(number) if number == number.to_integral_value() else float(number)


def _read_whole(text: str, field: OwnField) -> OwnValue:
    return int(_within(Decimal(read_integer(text)), text, field))


def _within(number: Decimal, text: str, field: OwnField) -> Decimal:
    low, high = field.low, field.high
    if (low is None or low <= number) and (high is None or number <= high):
        return number
    bounds = {
        name: plain_number(bound)
        for name, bound in (("low", low), ("high", high))
        if bound is not None
    }
    variant = "" if len(bounds) == 2 else f"only-{next(iter(bounds))}"
    raise CellError("cell-out-of-range", variant, typed=shortened(text), **bounds)


def _read_yes_no(text: str, field: OwnField) -> OwnValue:
    return read_yes_no(text)


def _read_choice(text: str, field: OwnField) -> OwnValue:
    """The key of a choice, by its key, its label or the beginning of the label."""
    typed = " ".join(text.split()).casefold()
    for key, label in field.choices:
        if typed in (key, label.casefold()):
            return key
    begun = [key for key, label in field.choices if label.casefold().startswith(typed)]
    if len(begun) == 1 and len(typed) >= _SHORTEST_WORD:
        return begun[0]
    raise unreadable("choice", text, choices=params.any_of(label for _, label in field.choices))


def _read_text(text: str, field: OwnField) -> OwnValue:
    return read_text(text, LONGEST_TEXT)


_READERS: Mapping[FieldKind, Callable[..., OwnValue]] = {
    FieldKind.NUMBER: _read_number,
    FieldKind.WHOLE: _read_whole,
    FieldKind.YES_NO: _read_yes_no,
    FieldKind.CHOICE: _read_choice,
    FieldKind.TEXT: _read_text,
}
