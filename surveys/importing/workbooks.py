"""Bytes of an XLSX workbook in, a table out. Runs in `surveys.bounded`.

Nothing in the file is computed: a formula counts as the value that was saved with it.
"""

import datetime as dt
import io
import zipfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from itertools import islice
from typing import Any
from xml.etree.ElementTree import ParseError

from openpyxl import Workbook, load_workbook
from openpyxl.utils.exceptions import InvalidFileException

from surveys.bounded import RefusedError
from surveys.importing.layout import Layout, Line, taken_apart
from surveys.importing.parsed import (
    MOST_COLUMNS,
    EmptySheetError,
    NoRowsError,
    Notice,
    clock_of,
    table_json,
    table_lines,
)
from surveys.language import gettext_noop as _

MOST_BYTES_UNPACKED = 200 * 1024 * 1024
MOST_BYTES_OF_ARCHIVE_UNPACKED = 600 * 1024 * 1024
# The last row of a sheet in OOXML programs (ECMA-376 leaves the number to them).
LAST_ROW = 1_048_576
_LOOKED_AT = 30
# Notes, and lists of what codes mean, are narrower than any table that is imported.
_FEWEST_COLUMNS = 3
# Spreadsheet programs keep a time of day as a date-time on their day 0.
_DAY_ZERO = (dt.date(1899, 12, 30), dt.date(1899, 12, 31), dt.date(1900, 1, 1))
# What openpyxl and what it builds on raise for files that are cut off or made by hand.
_BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    InvalidFileException,
    ParseError,
    LookupError,
    ValueError,
    TypeError,
    AttributeError,
    ArithmeticError,
    EOFError,
    OSError,
    RecursionError,
    NotImplementedError,
)


def parse_chosen(payload: bytes) -> bytes:
    """As `parse`, of a file behind its layout. Raises RefusedError."""
    layout, content = taken_apart(payload)
    return parse(content, layout)


def archive_lines(payload: bytes) -> Iterator[bytes]:
    """An archive behind its layout, line by line. Raises RefusedError."""
    layout, content = taken_apart(payload)
    workbook = _opened(content, MOST_BYTES_OF_ARCHIVE_UNPACKED)
    return _first_filled_sheet(workbook, layout, table_lines)


def parse(content: bytes, layout: Layout | None = None) -> bytes:
    """The chosen sheet, or the first that holds something, as JSON. Raises RefusedError."""
    sheets = _first_filled_sheet(
        _opened(content, MOST_BYTES_UNPACKED),
        layout or Layout(),
        lambda *found: iter([table_json(*found)]),
    )
    return next(sheets)


def _opened(content: bytes, most_unpacked: int) -> Workbook:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            unpacked = sum(entry.file_size for entry in archive.infolist())
        if unpacked > most_unpacked:
            raise RefusedError(
                _("The workbook is too large when unpacked. Save the one sheet as CSV.")
            )
        return load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    except _BROKEN:
        raise RefusedError(
            _("This is not a workbook that can be read. Save it as .xlsx or CSV.")
        ) from None


def _first_filled_sheet(
    workbook: Workbook, layout: Layout, made: Callable[..., Iterator[bytes]]
) -> Iterator[bytes]:
    names = [sheet.title for sheet in workbook.worksheets]
    chosen = [sheet for sheet in workbook.worksheets if sheet.title == layout.sheet]
    refusals = []
    for sheet in chosen or _wide_ones(workbook.worksheets):
        others = ", ".join(f"“{name}”" for name in names if name != sheet.title)
        notices: list[Notice] = []
        if others:
            text = _("The sheet “{title}” was read; {listed} was ignored.")
            notices.append((text, {"title": sheet.title, "listed": others}))
        # The sheet that is read stands first.
        others_last = sorted(names, key=lambda name, read=sheet.title: name != read)
        try:
            found = made(_lines(sheet), notices, layout, others_last)
            # Sheets of notes are not tables, which shows within a few rows; the next one may be.
            first = list(islice(found, _LOOKED_AT))
        except RefusedError as refusal:
            if isinstance(refusal, NoRowsError) and not isinstance(refusal, EmptySheetError):
                raise
            refusals.append(refusal)
            continue
        yield from first
        yield from found
        return
    said = [one for one in refusals if not isinstance(one, EmptySheetError)]
    raise (said or [EmptySheetError()])[0]


def _wide_ones(sheets: Sequence[Any]) -> Sequence[Any]:
    """Without those that look like notes, unless all do."""
    wide = [sheet for sheet in sheets if _width(sheet) >= _FEWEST_COLUMNS]
    return wide or sheets


def _width(sheet: Any) -> int:
    """How many cells the fullest of its first lines fills; what is damaged is told later."""
    try:
        first = list(islice(_lines(sheet), _LOOKED_AT))
    except RefusedError:
        return MOST_COLUMNS
    return max((sum(map(bool, texts)) for _, texts in first), default=0)


def _lines(sheet) -> Iterator[Line]:
    number = 0
    try:
        sheet.reset_dimensions()
        for values in sheet.iter_rows(values_only=True):
            number += 1
            if number > LAST_ROW:
                break
            yield number, [_cell_text(value) for value in values[: MOST_COLUMNS + 1]]
    except _BROKEN:
        raise RefusedError(
            _(
                "Row {number} of the sheet “{title}” could not be read: the file is cut off or "
                "damaged there. Open it in a spreadsheet program, and save it again as .xlsx or "
                "CSV."
            ),
            number=number + 1,
            title=sheet.title,
        ) from None
    if number > LAST_ROW:
        raise RefusedError(
            _(
                "The sheet “{title}” has a row behind row {last}, the last that a sheet can have. "
                "Save it again as .xlsx or CSV."
            ),
            last=LAST_ROW,
            title=sheet.title,
        )


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


def _to_the_second(value: dt.datetime) -> dt.datetime:
    """Spreadsheets keep times as fractions of a day, which are off by microseconds."""
    return (value + dt.timedelta(milliseconds=500)).replace(microsecond=0)


def _clock_text(clock: dt.time) -> str:
    return clock.isoformat("seconds" if clock.second else "minutes")
