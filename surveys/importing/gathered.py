"""What is gathered from the rows of a table: sheets with their cells, and problems."""

from __future__ import annotations

import datetime as dt
from array import array
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from surveys.importing.columns import Choice
from surveys.importing.fields import Level
from surveys.importing.problems import Problem, ProblemKind, Problems
from surveys.importing.table import Row
from surveys.visits.sheet.texts import CellError

NOT_RECORDED = "?"


def _numbers() -> array[int]:
    return array("L")


@dataclass(frozen=True, kw_only=True)
class Answers:
    """What the file itself cannot say. `blank_is_zero`: an empty species cell at a stop
    that was listened to means “not heard”, otherwise “not recorded”. `unnamed_is_zero`:
    so for species of the checklist that the file never names. `fill_down`: an empty route, date or
    observer is the one above."""

    blank_is_zero: bool = True
    unnamed_is_zero: bool = False
    fill_down: bool = False


@dataclass(kw_only=True)
class GatheredSheet:
    """One visit. `origins` leads from cell addresses to (row, column), `texts` from there to what
    was read. `raw` is what the file says."""

    route: str
    night: dt.date
    cells: dict[str, str] = field(default_factory=dict)
    origins: dict[str, tuple[int, str]] = field(default_factory=dict)
    observer: str = ""
    observer_row: int = 0
    rows: list[int] = field(default_factory=list)
    stops: dict[int, int] = field(default_factory=dict)
    raw: dict[str, str] = field(default_factory=dict)
    texts: dict[tuple[int, str], str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Placed:
    """The rows of one visit, by the numbers under which they were put aside. `first_row` is the
    number of the first in the file."""

    route: str
    night: dt.date
    first_row: int
    rows: array[int] = field(default_factory=_numbers)


@dataclass(kw_only=True)
class Gathering:
    headers: tuple[str, ...]
    choices: Sequence[Choice]
    routes: Mapping[str, str]
    catalog: Mapping[str, str]
    split: Mapping[str, Sequence[str]]
    answers: Answers
    latest_year: int
    long: bool
    in_parts: frozenset[str]
    positions: dict[str, int]
    problems: Problems = field(default_factory=Problems)
    unknown_routes: dict[str, array[int]] = field(default_factory=lambda: defaultdict(_numbers))
    unknown_species: dict[str, array[int]] = field(default_factory=lambda: defaultdict(_numbers))
    named: set[str] = field(default_factory=set)

    @cached_property
    def species_columns(self) -> tuple[tuple[int, str], ...]:
        """Positions of columns with the indices of a species, and its code."""
        return tuple((p, choice.species) for p, choice in enumerate(self.choices) if choice.species)

    @cached_property
    def field_columns(self) -> tuple[tuple[int, Choice], ...]:
        """Positions of columns that say something of the visit or the stop."""
        return tuple(
            (position, choice)
            for position, choice in enumerate(self.choices)
            if choice.field is not None and choice.field.level is not Level.CALL
        )

    def report(
        self, row: Row, position: int, error: CellError, kind: ProblemKind = ProblemKind.CELL
    ) -> None:
        self.problems.add(
            Problem(
                row=row.number,
                column=self.headers[position],
                message=error.message,
                remedy=error.remedy,
                kind=kind,
                written=row.texts[position],
            )
        )

    def text(self, row: Row, code: str) -> str:
        position = self.positions.get(code)
        return "" if position is None else row.texts[position]


@dataclass(frozen=True, kw_only=True)
class PlacedRow:
    """A row whose visit and stop are known."""

    work: Gathering
    sheet: GatheredSheet
    row: Row
    stop: int

    def text(self, code: str) -> str:
        return self.work.text(self.row, code)

    def report(self, position: int, error: CellError, kind: ProblemKind = ProblemKind.CELL) -> None:
        self.work.report(self.row, position, error, kind)

    def set_cell(self, address: str, text: str, position: int) -> None:
        self.sheet.cells[address] = text
        origin = (self.row.number, self.work.headers[position])
        self.sheet.origins[address] = origin
        self.sheet.texts[origin] = self.row.texts[position]
