"""What stands in the way of an import, in words for whoever made the spreadsheet."""

from array import array
from collections import Counter
from collections.abc import Iterable, Sequence
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
    where there are several; `row_count` says how many there are where not all are listed.
    `written` is what the cell says."""

    message: str
    remedy: str = ""
    row: int | None = None
    column: str | None = None
    kind: ProblemKind = ProblemKind.OTHER
    written: str = ""
    rows: tuple[int, ...] = ()
    row_count: int = 0

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


# What kind of problem it is, and of which column.
Sort = tuple[ProblemKind, str]


class Problems:
    """Problems as they are found, each told once: the same text in the same column is one problem,
    with all its rows, and so is the same sentence about rows.

    A large file may have one in each row. All are counted, by sort; of each sort those found first
    are kept, with the numbers of their rows.
    """

    _MOST_KEPT_OF_A_SORT = 1_000
    _MOST_KEPT = 5_000
    _MOST_ROWS_LISTED = 1_000

    def __init__(self, problems: Iterable[Problem] = ()) -> None:
        self.counts: Counter[Sort] = Counter()
        self._kept: dict[tuple, tuple[Problem, array[int]]] = {}
        # Of those that are not kept, enough to tell whether the next is one of them.
        self._others: set[int] = set()
        self.extend(problems)

    def __len__(self) -> int:
        return self.counts.total()

    def extend(self, problems: Iterable[Problem]) -> None:
        for problem in problems:
            self.add(problem)

    def add(self, problem: Problem) -> None:
        sort = sort_of(problem)
        key = self._key(problem)
        if key in self._kept:
            self._kept[key][1].extend(problem.all_rows)
        elif self.counts[sort] < self._MOST_KEPT_OF_A_SORT and len(self._kept) < self._MOST_KEPT:
            self.counts[sort] += 1
            self._kept[key] = (problem, array("L", problem.all_rows))
        elif hash(key) not in self._others:
            self.counts[sort] += 1
            self._others.add(hash(key))

    def told(self) -> tuple[Problem, ...]:
        """Those that are kept. A whole row is left out by its number, so these are all listed."""
        return tuple(self._told(*found) for found in self._kept.values())

    def _told(self, problem: Problem, rows: Sequence[int]) -> Problem:
        most = len(rows) if problem.kind is ProblemKind.ROWS else self._MOST_ROWS_LISTED
        count = max(problem.row_count, len(rows))
        return replace(problem, rows=tuple(rows[:most]), row_count=count)

    def _key(self, problem: Problem) -> tuple:
        if problem.kind is ProblemKind.CELL:
            return problem.kind, problem.column, problem.written
        if problem.kind is ProblemKind.ROWS and problem.row is not None:
            return problem.kind, problem.column, problem.message, problem.remedy
        return problem.kind, len(self)


def sort_of(problem: Problem) -> Sort:
    """By what the page groups problems."""
    of_no_column = problem.kind in (ProblemKind.ROWS, ProblemKind.OTHER)
    return problem.kind, "" if of_no_column else problem.column or ""


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
