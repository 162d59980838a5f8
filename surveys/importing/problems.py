"""What stands in the way of an import, in words for whoever made the spreadsheet."""

from dataclasses import dataclass

from surveys.language import gettext, said
from surveys.protocol.telling import Told
from surveys.visits.sheet.texts import CellError


@dataclass(frozen=True, kw_only=True)
class Problem:
    """`row` is the number that the spreadsheet program shows beside the row."""

    message: str
    remedy: str = ""
    row: int | None = None
    column: str | None = None

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


class EntryError(CellError):
    """A cell that only a spreadsheet gets wrong, in words for whoever made it."""

    def __init__(self, message: str, remedy: str) -> None:
        super().__init__("cell-unreadable")
        self._words = Told(message=message, remedy=remedy)

    @property
    def _in_words(self) -> Told:
        return self._words


class UnreadableFileError(Exception):
    """The file could not be read as a table."""


class ImportRefusedError(Exception):
    """Nothing was imported: there are problems to fix first."""
