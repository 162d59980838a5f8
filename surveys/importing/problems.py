"""What stands in the way of an import, in words for whoever made the spreadsheet."""

from dataclasses import dataclass


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
            parts.append(f"row {self.row}")
        if self.column is not None:
            parts.append(f"column “{self.column}”")
        words = ", ".join(parts) or "whole file"
        return words[0].upper() + words[1:]

    def __str__(self) -> str:
        return f"{self.where}: {self.message} {self.remedy}".strip()


class UnreadableFileError(Exception):
    """The file could not be read as a table."""


class ImportRefusedError(Exception):
    """Nothing was imported: there are problems to mend first."""
