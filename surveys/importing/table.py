"""A spreadsheet as plain texts."""

from collections.abc import Callable
from dataclasses import dataclass

# Told how far the work has come: a step in words, so many done, of so many.
Say = Callable[[str, int, int], None]


def say_nothing(step: str, done: int, total: int) -> None:
    """For work that nobody watches."""


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
