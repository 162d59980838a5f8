"""What the report says of calls beyond the listening radius, and of the program's own fields."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from surveys.language import gettext, said, said_of
from surveys.models.own_field import ASKED_PER, FIELD_KINDS
from surveys.protocol.words import number
from surveys.publishing.frozen import Frozen
from surveys.publishing.tables import TABLE

_KINDS = dict(FIELD_KINDS)
_ASKED = dict(ASKED_PER)


@dataclass(frozen=True, kw_only=True)
class FarCalls:
    """`species`: name, records within the radius, records beyond it; those with any beyond."""

    sentence: str
    species: tuple[tuple[str, int, int], ...]


@dataclass(frozen=True, kw_only=True)
class OwnFieldWords:
    """A field of the program in words, with the number of its values."""

    key: str
    name: str
    meaning: str
    kind: str
    asked: str
    unit: str
    allowed: str
    values: int


def far_calls(frozen: Frozen) -> FarCalls | None:
    """None where no call was heard only beyond a listening radius."""
    header = TABLE["calls"].header
    species, recorded, far = map(header.index, ("species", "recorded_index", "far_index"))
    within: Counter[Any] = Counter()
    beyond: Counter[Any] = Counter()
    for row in frozen.rows("calls"):
        if row[far] is not None:
            beyond[row[species]] += 1
        elif row[recorded] is not None:
            within[row[species]] += 1
    if not beyond:
        return None
    total = beyond.total() + within.total()
    counted = said_of(
        "Of {number} record of a species at a stop, {far} was from beyond the listening radius.",
        "Of {number} records of a species at a stop, {far} were from beyond the listening radius.",
        total,
        far=beyond.total(),
    )
    return FarCalls(
        sentence=counted,
        species=tuple(
            (entry["common_name"], within[entry["species"]], beyond[entry["species"]])
            for entry in frozen.records("checklist")
            if beyond[entry["species"]]
        ),
    )


def own_fields(frozen: Frozen) -> list[OwnFieldWords]:
    values = Counter(row["field"] for row in frozen.records("own_values"))
    return [
        OwnFieldWords(
            key=row["field"],
            name=row["name"],
            meaning=row["meaning"] or "",
            kind=str(_KINDS[row["kind"]]),
            asked=str(_ASKED[row["asked"]]),
            unit=row["unit"] or "",
            allowed=row["choices"] or _range(row),
            values=values[row["field"]],
        )
        for row in frozen.records("own_fields")
    ]


def _range(row: Mapping[str, Any]) -> str:
    low, high = (
        None if end is None else number(f"{end:g}") for end in (row["minimum"], row["maximum"])
    )
    if low is not None and high is not None:
        return said("{low} to {high}", low=low, high=high)
    if low is not None:
        return said("at least {low}", low=low)
    return gettext("any") if high is None else said("at most {high}", high=high)
