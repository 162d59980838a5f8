"""Bytes of an uploaded file in, a table of texts out.

Nothing in the file is computed: a formula counts as the value that was saved with it.
"""

import csv
import datetime as dt
import io
import zipfile
from collections.abc import Iterable, Iterator
from decimal import Decimal

from openpyxl import load_workbook
from openpyxl.utils.exceptions import InvalidFileException

from surveys.importing.problems import UnreadableFileError
from surveys.importing.table import Row, Table
from surveys.language import gettext, said

MOST_BYTES = 10 * 1024 * 1024
MOST_BYTES_UNPACKED = 200 * 1024 * 1024
MOST_ROWS = 10_000
MOST_COLUMNS = 200
MAX_TEXT_LENGTH = 2_000

_ZIP = b"PK\x03\x04"
_OLD_EXCEL = b"\xd0\xcf\x11\xe0"
_UTF16 = (b"\xff\xfe", b"\xfe\xff")
_DELIMITERS = (",", ";", "\t")
_SNIFFED_ROWS = 30
# Spreadsheet programs keep a time of day as a date-time on their day 0.
_DAY_ZERO = (dt.date(1899, 12, 30), dt.date(1899, 12, 31), dt.date(1900, 1, 1))


def read_table(content: bytes) -> Table:
    """Read a CSV or XLSX file. The kind is told from the content, not from the name.

    Raises UnreadableFileError with a sentence that says what to do.
    """
    if not content.strip():
        raise UnreadableFileError(gettext("The file is empty."))
    if len(content) > MOST_BYTES:
        raise UnreadableFileError(
            said(
                "The file has {content} MB; the limit is {most_bytes} MB. Split it, "
                "for example by year.",
                content=f"{len(content) / 1024**2:.0f}",
                most_bytes=MOST_BYTES // 1024**2,
            )
        )
    if content.startswith(_OLD_EXCEL):
        raise UnreadableFileError(
            gettext(
                "This is an old Excel file (.xls), or one with a password. Open it, and "
                "save it without a password as .xlsx or CSV."
            )
        )
    if content.startswith(_ZIP):
        return _read_workbook(content)
    return _read_csv(content)


def _read_csv(content: bytes) -> Table:
    text, encoding = _decode(content)
    if "\x00" in text:
        raise UnreadableFileError(gettext("This is not a CSV or XLSX file."))
    delimiter = _delimiter(text)
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))
    except csv.Error as error:
        raise UnreadableFileError(
            said(
                "The file could not be read as CSV ({error}). Save it again as CSV or XLSX.",
                error=error,
            )
        ) from None
    notices = (
        ()
        if encoding != "cp1252"
        else (
            gettext(
                "The file is not in UTF-8, so it was read as Windows text. Check accented letters."
            ),
        )
    )
    return _table(enumerate(lines, start=1), notices)


def _decode(content: bytes) -> tuple[str, str]:
    encodings = ("utf-16",) if content.startswith(_UTF16) else ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            return content.decode(encoding), encoding
        except UnicodeDecodeError:
            continue
    raise UnreadableFileError(
        gettext("The text of the file cannot be read. Save it as CSV in UTF-8.")
    )


def _delimiter(text: str) -> str:
    """The delimiter that gives the first rows the most columns of even number."""

    def evenness(delimiter: str) -> tuple[int, int]:
        widths = []
        try:
            for line in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter):
                if any(line):
                    widths.append(len(line))
                if len(widths) == _SNIFFED_ROWS:
                    break
        except csv.Error:
            return (0, 0)
        head = widths[0] if widths else 0
        return (sum(width == head for width in widths) if head > 1 else 0, head)

    return max(_DELIMITERS, key=evenness)


def _read_workbook(content: bytes) -> Table:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            unpacked = sum(entry.file_size for entry in archive.infolist())
            if unpacked > MOST_BYTES_UNPACKED:
                raise UnreadableFileError(
                    gettext("The workbook is too large when unpacked. Save the one sheet as CSV.")
                )
        workbook = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    except (zipfile.BadZipFile, InvalidFileException, KeyError, ValueError, OSError):
        raise UnreadableFileError(
            gettext("This is not a workbook that can be read. Save it as .xlsx or CSV.")
        ) from None
    try:
        return _first_filled_sheet(workbook)
    finally:
        workbook.close()


def _first_filled_sheet(workbook) -> Table:
    names = [sheet.title for sheet in workbook.worksheets]
    for sheet in workbook.worksheets:
        sheet.reset_dimensions()
        lines = (
            (number, [_cell_text(value) for value in values[: MOST_COLUMNS + 1]])
            for number, values in enumerate(sheet.iter_rows(values_only=True), start=1)
        )
        try:
            table = _table(lines, ())
        except _EmptySheetError:
            continue
        others = [name for name in names if name != sheet.title]
        if not others:
            return table
        listed = ", ".join(f"“{name}”" for name in others)
        notice = said(
            "The sheet “{title}” was read; {listed} was ignored.",
            title=sheet.title,
            listed=listed,
        )
        return Table(headers=table.headers, rows=table.rows, notices=(notice,))
    raise _NoRowsError


class _NoRowsError(UnreadableFileError):
    def __init__(self) -> None:
        super().__init__(
            gettext(
                "There is nothing to import: the first row must hold the column names, "
                "and the rows below it the visits."
            )
        )


class _EmptySheetError(_NoRowsError):
    pass


def _table(lines: Iterable[tuple[int, list[str]]], notices: tuple[str, ...]) -> Table:
    filled = ((number, texts) for number, texts in lines if any(text.strip() for text in texts))
    first = next(filled, None)
    if first is None:
        raise _EmptySheetError
    headers = [" ".join(text.split()) for text in first[1]]
    while headers and not headers[-1]:
        headers.pop()
    if len(headers) > MOST_COLUMNS:
        raise UnreadableFileError(
            said("There are more than {most_columns} columns.", most_columns=MOST_COLUMNS)
        )
    rows = tuple(_rows(filled, len(headers)))
    if not rows:
        raise _NoRowsError
    return Table(headers=_named(headers), rows=rows, notices=notices)


def _rows(filled: Iterator[tuple[int, list[str]]], width: int) -> Iterator[Row]:
    for count, (number, texts) in enumerate(filled, start=1):
        if count > MOST_ROWS:
            raise UnreadableFileError(
                said(
                    "There are more than {most_rows} rows. Split the file, for example by year.",
                    most_rows=MOST_ROWS,
                )
            )
        if any(text.strip() for text in texts[width:]):
            raise UnreadableFileError(
                said(
                    "Row {number} has more cells than there are column names. Name every "
                    "column, or clear the cells on the right.",
                    number=number,
                )
            )
        padded = [*texts[:width], *[""] * (width - len(texts))]
        too_long = next((text for text in padded if len(text) > MAX_TEXT_LENGTH), None)
        if too_long is not None:
            raise UnreadableFileError(
                said(
                    "Row {number} has a cell of {too_long} characters; the limit is "
                    "{max_text_length}.",
                    number=number,
                    too_long=len(too_long),
                    max_text_length=MAX_TEXT_LENGTH,
                )
            )
        yield Row(number=number, texts=tuple(text.strip() for text in padded))


def _named(headers: list[str]) -> tuple[str, ...]:
    """Every column gets a name of its own, so that problems can point to it."""
    seen: dict[str, int] = {}
    named = []
    for position, header in enumerate(headers, start=1):
        name = header or said("column {position}", position=position)
        seen[name] = seen.get(name, 0) + 1
        named.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return tuple(named)


def _cell_text(value: object) -> str:
    """A cell as it would be typed: dates and times in one unmistakable form."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dt.datetime):
        rounded = _to_the_second(value)
        if rounded.date() in _DAY_ZERO:
            return _clock_text(rounded.time())
        if rounded.time() == dt.time():
            return rounded.date().isoformat()
        return f"{rounded.date().isoformat()} {_clock_text(rounded.time())}"
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, dt.time):
        return _clock_text(value)
    if isinstance(value, dt.timedelta):
        return _clock_text(clock_of(round(value.total_seconds())))
    if isinstance(value, float):
        # Ten digits: what a spreadsheet computes is off behind the fifteenth.
        return f"{Decimal(f'{value:.10g}').normalize():f}"
    return str(value)


def clock_of(seconds: int) -> dt.time:
    """The clock time so many seconds after midnight."""
    minutes, second = divmod(seconds % 86_400, 60)
    return dt.time(minutes // 60, minutes % 60, second)


def _to_the_second(value: dt.datetime) -> dt.datetime:
    """Spreadsheets keep times as fractions of a day, which are off by microseconds."""
    return (value + dt.timedelta(milliseconds=500)).replace(microsecond=0)


def _clock_text(clock: dt.time) -> str:
    return clock.isoformat("seconds" if clock.second else "minutes")
