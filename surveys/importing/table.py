"""A spreadsheet as plain texts. The rows of an archive are too many to be held: they are read anew
whenever somebody goes through them."""

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

# Of so many different cells a column remembers what they say.
MOST_DIFFERENT = 5_000
_FIRST_CELLS = 3


@dataclass(frozen=True, kw_only=True)
class Row:
    """`number` is the row's number in the file; `texts` are as many as the headers. `written` is
    what the file says, where `texts` were filled in or fixed since. `part` names the part of a row
    of the file that holds a whole visit, such as `Stop 3`."""

    number: int
    texts: tuple[str, ...]
    written: tuple[str, ...] = ()
    part: str = ""

    @property
    def as_written(self) -> tuple[str, ...]:
        return self.written or self.texts


class Rows(Collection[Row]):
    """Rows that are made whenever they are gone through."""

    def __init__(self, make: Callable[[], Iterator[Row]], count: int | None = None) -> None:
        self._make = make
        self._count = count

    def __iter__(self) -> Iterator[Row]:
        return self._make()

    def __len__(self) -> int:
        if self._count is None:
            self._count = sum(1 for _ in self)
        return self._count

    def __contains__(self, row: object) -> bool:
        return any(row == one for one in self)


def made_of(
    rows: Collection[Row], step: Callable[[Iterable[Row]], Iterator[Row]], count: int | None = None
) -> Collection[Row]:
    """What a step makes of rows: at once of a few, whenever they are gone through of many."""
    if isinstance(rows, Rows):
        return Rows(lambda: step(rows), count)
    return tuple(step(rows))


@dataclass(frozen=True, kw_only=True)
class Table:
    """`notices` say what was decided while reading, such as which sheet was taken. `sheets` are
    those of the workbook, the one that was read first; the column names stand in `name_rows` rows,
    the last of which is `names_row`. `in_parts` are columns that a row of the file has once for
    each stop. `different` are the different cells of each column, where they are known already."""

    headers: tuple[str, ...]
    rows: Collection[Row]
    notices: tuple[str, ...] = ()
    sheets: tuple[str, ...] = ()
    names_row: int = 1
    name_rows: int = 1
    in_parts: frozenset[str] = frozenset()
    different: tuple[tuple[str, ...], ...] | None = None

    def column(self, position: int) -> list[str]:
        return [row.texts[position] for row in self.rows]

    def different_cells(self, position: int) -> Sequence[str]:
        """The different cells of a column, MOST_DIFFERENT at most, in the order of the rows."""
        return self._different[position]

    def first_cells(self, position: int) -> list[str]:
        """What the first different cells of a column hold, to tell what it means."""
        return [text for text in self.different_cells(position)[: _FIRST_CELLS + 1] if text][
            :_FIRST_CELLS
        ]

    @cached_property
    def _different(self) -> tuple[tuple[str, ...], ...]:
        if self.different is not None:
            return self.different
        cells = DifferentCells(len(self.headers))
        for row in self.rows:
            cells.add(row.texts)
        return cells.by_column


class DifferentCells:
    """What the cells of each column say, each text once."""

    def __init__(self, width: int) -> None:
        self._columns: list[dict[str, None]] = [{} for _ in range(width)]

    def add(self, texts: Sequence[str]) -> None:
        for column, text in zip(self._columns, texts, strict=True):
            # Whether there is an empty cell is always known.
            if text not in column and (len(column) < MOST_DIFFERENT or not text):
                column[text] = None

    @property
    def by_column(self) -> tuple[tuple[str, ...], ...]:
        return tuple(tuple(column) for column in self._columns)
