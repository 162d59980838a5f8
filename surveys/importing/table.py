"""A spreadsheet as plain texts."""

from dataclasses import dataclass

_FIRST_CELLS = 3


@dataclass(frozen=True, kw_only=True)
class Row:
    """`number` is the row's number in the file; `texts` are as many as the headers."""

    number: int
    texts: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Table:
    """`notices` say what was decided while reading, such as which sheet was taken."""

    headers: tuple[str, ...]
    rows: tuple[Row, ...]
    notices: tuple[str, ...] = ()

    def column(self, position: int) -> list[str]:
        return [row.texts[position] for row in self.rows]

    def first_cells(self, position: int) -> list[str]:
        """What the first different cells of a column hold, to tell what it means."""
        filled = dict.fromkeys(text for text in self.column(position) if text)
        return list(filled)[:_FIRST_CELLS]
