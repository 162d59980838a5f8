"""The tables as one workbook, for people who work in a spreadsheet.

Every cell has its type: a text is a text whatever it looks like, so nothing in the workbook is a
formula or a link. Texts stand as they were written, without the apostrophe of the CSV files.
"""

import csv
import datetime as dt
import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path

import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.workbook import Workbook
from xlsxwriter.worksheet import Worksheet

from surveys.publishing.formats.datapackage import BLANK
from surveys.publishing.formats.yearly_csv import guard
from surveys.publishing.frozen import (
    Frozen,
    Value,
)
from surveys.publishing.tables import (
    TABLES,
    Cells,
    CellType,
    Table,
)

# What spreadsheets share (support.microsoft.com, "Excel specifications and limits", from
# memory): rows of a sheet, of which the header takes one, and UTF-16 units of a cell.
MOST_ROWS = 1_048_576 - 1
MOST_TEXT = 32_767
# Days are counted from 1900 (ECMA-376, part 1, 18.17.4.1, from memory).
_FIRST_YEAR = 1900

DICTIONARY = (
    "table", "column", "type", "unit", "meaning", "required", "minimum", "maximum", "choices",
    "key", "refers to",
)  # fmt: skip
_WIDTHS: Mapping[CellType, int] = {
    "string": 24,
    "integer": 10,
    "number": 12,
    "boolean": 10,
    "date": 12,
    "datetime": 20,
}
_IDENTIFIER, _MEANING = 38, 90
# Points a line, and how many of them the highest row has.
_LINE, _MOST_LINES = 15, 27
_CHECKSUMS = (
    "SHA256SUMS.txt of the publication holds the SHA-256 of every file, this workbook included. "
    "Saving the workbook changes it."
)
_CELLS = f"{BLANK} Times are UTC. The sheet Dictionary says what each column means."
_CUT = "text(s) longer than a cell can hold end in “…” here. The CSV files have them whole."
_OPTIONS = {
    "constant_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
}


def write(frozen: Frozen, target: Path, *, most_rows: int = MOST_ROWS) -> None:
    """`tables.xlsx`: what it is, what the columns mean, then a sheet a table.

    A table of more than `most_rows` rows goes over several sheets. Rows are written as they are
    read, so memory does not grow with them.
    """
    with xlsxwriter.Workbook(target, _OPTIONS) as workbook:
        about = frozen.about
        workbook.set_properties(
            {
                "title": about.title,
                "author": about.program,
                "comments": about.citation,
                "created": about.published_at.astimezone(dt.UTC).replace(tzinfo=None),
            }
        )
        writer = _Writer(workbook)
        front, dictionary = (workbook.add_worksheet(name) for name in ("About", "Dictionary"))
        _write_dictionary(writer, dictionary)
        sheets = {
            table.title: tuple(_write_table(writer, frozen, table, most_rows)) for table in TABLES
        }
        _write_about(writer, front, frozen, sheets)


class _Writer:
    """Writes cells by their type; `cut` counts texts that no cell can hold."""

    def __init__(self, workbook: Workbook) -> None:
        self.workbook = workbook
        self.cut = 0
        self.header = workbook.add_format({"bold": True, "bottom": 1})
        self.heading = workbook.add_format({"bold": True, "valign": "top"})
        self.top = workbook.add_format({"valign": "top"})
        self.wrapped = workbook.add_format({"text_wrap": True, "valign": "top"})
        # Without this mark, a spreadsheet takes such a text for a formula once it is edited.
        self.quoted = workbook.add_format({"quote_prefix": True})
        self.date_format = workbook.add_format({"num_format": "yyyy-mm-dd", "align": "left"})
        self.instant_format = workbook.add_format(
            {"num_format": "yyyy-mm-dd hh:mm:ss", "align": "left"}
        )
        self.by_type: Mapping[CellType, Callable[[Worksheet, int, int, Value], None]] = {
            "string": self.text,
            "integer": self.number,
            "number": self.number,
            "boolean": self.boolean,
            "date": self.date,
            "datetime": self.instant,
        }

    def text(
        self, sheet: Worksheet, row: int, at: int, text: str, look: Format | None = None
    ) -> None:
        if len(text) > MOST_TEXT // 2:
            text = self._within_cell_limit(text)
        if look is None and guard(text) != text:
            look = self.quoted
        # XlsxWriter takes such a text for its own markup of rich texts and copies it unescaped.
        if text.startswith("<r>") and text.endswith("</r>"):
            sheet.write_rich_string(row, at, text[0], text[1], text[2:], *([look] if look else []))
        else:
            sheet.write_string(row, at, text, look)

    def _within_cell_limit(self, text: str) -> str:
        units = text.encode("utf-16-le")
        if len(units) <= 2 * MOST_TEXT:
            return text
        self.cut += 1
        return units[: 2 * (MOST_TEXT - 1)].decode("utf-16-le", errors="ignore") + "…"

    def wrapped_text(self, sheet: Worksheet, row: int, at: int, text: str) -> None:
        """A text in a column of `_MEANING` characters, its row as high as its lines."""
        lines = len(textwrap.wrap(text, _MEANING - 6))
        sheet.set_row(row, _LINE * min(max(lines, 1), _MOST_LINES))
        self.text(sheet, row, at, text, self.wrapped)

    def number(self, sheet: Worksheet, row: int, at: int, number: float) -> None:
        sheet.write_number(row, at, number)

    def boolean(self, sheet: Worksheet, row: int, at: int, value: bool) -> None:
        sheet.write_boolean(row, at, value)

    def date(self, sheet: Worksheet, row: int, at: int, date: dt.date) -> None:
        if date.year < _FIRST_YEAR:
            sheet.write_string(row, at, date.isoformat())
        else:
            sheet.write_datetime(row, at, date, self.date_format)

    def instant(self, sheet: Worksheet, row: int, at: int, instant: dt.datetime) -> None:
        in_utc = instant.astimezone(dt.UTC).replace(tzinfo=None)
        sheet.write_datetime(row, at, in_utc, self.instant_format)

    def row(self, sheet: Worksheet, row: int, cells: Sequence[object]) -> None:
        """A row of texts and numbers by what they are; None stays blank."""
        for at, cell in enumerate(cells):
            if isinstance(cell, str):
                self.text(sheet, row, at, cell, self.top)
            elif cell is not None:
                sheet.write_number(row, at, cell, self.top)

    def head(self, sheet: Worksheet, names: Sequence[str], rows: int) -> None:
        """The names of the columns, in bold, in sight, with a filter over the rows below."""
        for at, name in enumerate(names):
            sheet.write_string(0, at, name, self.header)
        sheet.freeze_panes(1, 0)
        sheet.repeat_rows(0)
        _on_paper(sheet)
        sheet.autofilter(0, 0, rows, len(names) - 1)


def _write_table(
    writer: _Writer, frozen: Frozen, table: Table, most_rows: int
) -> Iterator[tuple[str, int]]:
    """Write a table; the names of its sheets and the rows on each."""
    total = _row_count(frozen.folder / table.file)
    rows = frozen.rows(table.name)
    writes = [writer.by_type[column.type] for column in table.columns]
    sheets = max(1, -(-total // most_rows))
    for number in range(sheets):
        name = table.name if sheets == 1 else f"{table.name} {number + 1}"
        sheet = writer.workbook.add_worksheet(name)
        here = min(most_rows, total - number * most_rows)
        writer.head(sheet, table.header, here)
        for at, column in enumerate(table.columns):
            sheet.set_column(at, at, _width(column))
        for row, values in enumerate(islice(rows, here), start=1):
            for at, value in enumerate(values):
                if value is not None:
                    writes[at](sheet, row, at, value)
        yield name, here


def _write_dictionary(writer: _Writer, sheet: Worksheet) -> None:
    columns = [(table, column) for table in TABLES for column in table.columns]
    writer.head(sheet, DICTIONARY, len(columns))
    for at, width in enumerate((12, 26, 10, 22, _MEANING, 9, 9, 9, 24, 5, 18)):
        sheet.set_column(at, at, width)
    for row, (table, column) in enumerate(columns, start=1):
        refers = (
            f"{other}.{name}"
            for foreign_key, other, name in table.refers
            if foreign_key == column.name
        )
        cells = (
            table.name,
            column.name,
            column.type,
            column.unit or None,
            column.meaning,
            "yes" if column.required else "no",
            column.minimum,
            column.maximum,
            ", ".join(column.choices) or None,
            "yes" if column.name in table.key else "no",
            next(refers, None),
        )
        writer.row(sheet, row, cells)
        writer.wrapped_text(sheet, row, DICTIONARY.index("meaning"), column.meaning)


def _write_about(
    writer: _Writer,
    sheet: Worksheet,
    frozen: Frozen,
    sheets: Mapping[str, tuple[tuple[str, int], ...]],
) -> None:
    about = frozen.about
    lines: list[tuple[str, str]] = [
        ("Title", about.title),
        ("Program", about.program),
        ("Season years", f"{about.first_year} to {about.season_year}"),
        ("Version", f"{about.version} of season year {about.season_year}"),
        ("Why this version", about.reason),
        ("Published", f"{about.published_at.astimezone(dt.UTC):%Y-%m-%d %H:%M} UTC"),
        ("Cite as", about.citation),
        ("License", f"{about.license}, {about.license_url}"),
        ("Address", about.url),
        ("Made with", about.software),
        (
            "Observers",
            f"{about.observer_count}, of whom named: {', '.join(about.observers) or '–'}",
        ),
        ("Checksums", _CHECKSUMS),
        ("Cells", _CELLS),
        *((title, _sheet_words(parts)) for title, parts in sheets.items()),
    ]
    if writer.cut:
        lines.append(("Cut", f"{writer.cut} {_CUT}"))
    _on_paper(sheet)
    sheet.set_column(0, 0, 22)
    sheet.set_column(1, 1, _MEANING)
    for row, (name, words) in enumerate((name, words) for name, words in lines if words):
        sheet.write_string(row, 0, name, writer.heading)
        writer.wrapped_text(sheet, row, 1, words)


def _on_paper(sheet: Worksheet) -> None:
    """As wide as a page, and as many pages as it takes."""
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)


def _sheet_words(sheets: Sequence[tuple[str, int]]) -> str:
    words = "; ".join(f"sheet {name}: {rows} row{'s' * (rows != 1)}" for name, rows in sheets)
    more = " Too long for one sheet, so it is split over these sheets." if len(sheets) > 1 else ""
    return f"{words}.{more}"


def _row_count(path: Path) -> int:
    with path.open(encoding="utf-8", newline="") as file:
        return sum(1 for _ in csv.reader(file)) - 1


def _width(column: Cells) -> int:
    width = _IDENTIFIER if column.unit == "UUID" else _WIDTHS[column.type]
    return max(width, len(column.name) + 4)
