"""What stands in the way of an import, in words for whoever made the spreadsheet."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from surveys.language import gettext, said
from surveys.protocol.telling import Told
from surveys.visits.sheet.texts import CellError


class ProblemKind(StrEnum):
    """What has to be decided about a problem."""

    ROUTE = "route"
    SPECIES = "species"
    OBSERVER = "observer"
    # What the cell says cannot be read, in whichever row it stands.
    CELL = "cell"
    # What the cell says does not fit what else is said of the visit.
    CLASH = "clash"
    ROWS = "rows"
    OTHER = "other"


@dataclass(frozen=True, kw_only=True)
class Problem:
    """`row` is the number that the spreadsheet program shows beside the row, the first of `rows`
    where there are several. `written` is what the cell says."""

    message: str
    remedy: str = ""
    row: int | None = None
    column: str | None = None
    kind: ProblemKind = ProblemKind.OTHER
    written: str = ""
    rows: tuple[int, ...] = ()

    @property
    def all_rows(self) -> tuple[int, ...]:
        return self.rows or (() if self.row is None else (self.row,))

    @property
    def where(self) -> str:
        parts = []
        if self.row is not None:
            parts.append(said("row {row}", row=self.row))
        if self.column is not None:
            parts.append(said("column “{column}”", column=self.column))
        words = gettext(", ").join(parts) or gettext("whole file")
        return words[0].upper() + words[1:]

    def __str__(self) -> str:
        return f"{self.where}: {self.message} {self.remedy}".strip()


def told_once(problems: Sequence[Problem]) -> tuple[Problem, ...]:
    """The same text in the same column is one problem, with all its rows, and so is the same
    sentence about rows."""
    found: dict[tuple, Problem] = {}
    for number, problem in enumerate(problems):
        key: tuple = (number,)
        if problem.kind is ProblemKind.CELL:
            key = (problem.column, problem.written)
        elif problem.kind is ProblemKind.ROWS and problem.row is not None:
            key = (problem.kind, problem.column, problem.message, problem.remedy)
        first = found.get(key)
        rows = (*first.all_rows, *problem.all_rows) if first else problem.all_rows
        found[key] = replace(first or problem, rows=rows)
    return tuple(found.values())


class EntryError(CellError):
    """A cell that only a spreadsheet gets wrong, in words for whoever made it."""

    def __init__(self, message: str, remedy: str) -> None:
        super().__init__("cell-unreadable")
        self._words = Told(message=message, remedy=remedy)

    @property
    def _in_words(self) -> Told:
        return self._words


class ClashError(EntryError):
    """A cell that can be read, but does not agree with another one."""


class UnreadableFileError(Exception):
    """The file could not be read as a table."""


class ImportRefusedError(Exception):
    """Nothing was imported: there are problems to fix first."""
