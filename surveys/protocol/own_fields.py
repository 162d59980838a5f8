"""Fields that a program adds to its sheets, besides what rules and models use."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

# The name of the cell of a field is `own.` and the key of the field.
CELL = "own."
KEY = "[a-z][a-z0-9_]{0,39}"

OwnValue = int | float | bool | str


class FieldKind(StrEnum):
    NUMBER = "number"
    WHOLE = "whole"
    YES_NO = "yes_no"
    CHOICE = "choice"
    TEXT = "text"

    @property
    def is_number(self) -> bool:
        return self in (FieldKind.NUMBER, FieldKind.WHOLE)


class AskedPer(StrEnum):
    """Whether a field is asked once for the whole visit or at every stop."""

    VISIT = "visit"
    STOP = "stop"


@dataclass(frozen=True, kw_only=True)
class OwnField:
    """A field as it stood on one night. `choices` are keys, which are stored, and labels.

    One that was not `asked` that night is read where a sheet has it all the same.
    """

    key: str
    label: str
    kind: FieldKind
    per: AskedPer
    help: str = ""
    unit: str = ""
    low: Decimal | None = None
    high: Decimal | None = None
    choices: tuple[tuple[str, str], ...] = ()
    asked: bool = True
    required: bool = False

    @property
    def cell(self) -> str:
        return CELL + self.key

    @property
    def heading(self) -> str:
        """The label with the unit, as a column of a sheet has it."""
        return f"{self.label}, {self.unit}" if self.unit else self.label
