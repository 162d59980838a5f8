"""A spreadsheet as plain texts."""

from dataclasses import dataclass

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


@dataclass(frozen=True, kw_only=True)
class Table:
    """`notices` say what was decided while reading, such as which sheet was taken. `sheets` are
    those of the workbook, the one that was read first; the column names stand in `name_rows` rows,
    the last of which is `names_row`. `in_parts` are columns that a row of the file has once for
    each stop."""

    headers: tuple[str, ...]
    rows: tuple[Row, ...]
    notices: tuple[str, ...] = ()
    sheets: tuple[str, ...] = ()
    names_row: int = 1
    name_rows: int = 1
    in_parts: frozenset[str] = frozenset()

    def column(self, position: int) -> list[str]:
        return [row.texts[position] for row in self.rows]

    def first_cells(self, position: int) -> list[str]:
        """What the first different cells of a column hold, to tell what it means."""
        filled = dict.fromkeys(text for text in self.column(position) if text)
        return list(filled)[:_FIRST_CELLS]
