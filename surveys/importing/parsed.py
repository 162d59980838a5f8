"""Lines of cells in, a table within limits out, as JSON. Runs in `surveys.bounded`.

An archive of visits comes out line by line: first what is known of the whole, then a line for each
row. Other spreadsheets are small, and come out as one piece.
"""

import datetime as dt
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from surveys.bounded import RefusedError
from surveys.importing.layout import Layout, Line, names_and_rows
from surveys.language import gettext_noop as _

MOST_COLUMNS = 200
MAX_TEXT_LENGTH = 2_000


@dataclass(frozen=True, kw_only=True)
class Most:
    """How much a table may hold."""

    rows: int
    cells: int
    characters: int


SMALL = Most(rows=10_000, cells=1_000_000, characters=10_000_000)
ARCHIVE = Most(rows=250_000, cells=10_000_000, characters=60_000_000)

# A marked text and its values: the process that asked tells it.
Notice = tuple[str, dict[str, str]]


class NoRowsError(RefusedError):
    def __init__(self) -> None:
        super().__init__(
            _(
                "There is nothing to import: the first row must hold the column names, and the "
                "rows below it the visits."
            )
        )


class EmptySheetError(NoRowsError):
    """Not even column names, at most a line of notes: the next sheet may hold something."""


def table_json(
    lines: Iterable[Line],
    notices: Iterable[Notice],
    layout: Layout | None = None,
    sheets: Iterable[str] = (),
) -> bytes:
    """Headers, rows with their numbers, notices, and where they were found. Raises RefusedError."""
    found = _found(lines, notices, layout, sheets, SMALL)
    head = next(found)
    return json.dumps({**head, "rows": list(found)}).encode()


def table_lines(
    lines: Iterable[Line],
    notices: Iterable[Notice],
    layout: Layout | None = None,
    sheets: Iterable[str] = (),
) -> Iterator[bytes]:
    """As `table_json`, of an archive: the head, then each row, with a line for each."""
    return (
        json.dumps(part, ensure_ascii=False, separators=(",", ":")).encode() + b"\n"
        for part in _found(lines, notices, layout, sheets, ARCHIVE)
    )


def _found(
    lines: Iterable[Line],
    notices: Iterable[Notice],
    layout: Layout | None,
    sheets: Iterable[str],
    most: Most,
) -> Iterator[Any]:
    """The head, then the rows."""
    filled = ((number, texts) for number, texts in lines if any(text.strip() for text in texts))
    names, below, above = names_and_rows(filled, layout or Layout())
    if names is None:
        raise EmptySheetError
    headers = names.headers
    while headers and not headers[-1]:
        headers.pop()
    if len(headers) > MOST_COLUMNS:
        raise RefusedError(_("There are more than {most} columns."), most=MOST_COLUMNS)
    _check_lengths(names.row, headers)
    rows = _rows(below, headers, most)
    first = next(rows, None)
    if first is None:
        raise NoRowsError if len(headers) > 1 else EmptySheetError
    yield {
        "headers": headers,
        "notices": [*notices, *_said_of_names(names.row, names.rows, above)],
        "sheets": list(sheets),
        "names_row": names.row,
        "name_rows": names.rows,
    }
    yield first
    yield from rows


def _said_of_names(row: int, rows: int, above: int) -> Iterator[Notice]:
    if above:
        text = _("The column names were found in row {row}. What is above it was not read.")
        yield text, {"row": str(row)}
    if rows > 1:
        text = _("The column names were put together from two rows, up to row {row}.")
        yield text, {"row": str(row)}


def _rows(
    filled: Iterator[Line], headers: list[str], most: Most
) -> Iterator[tuple[int, list[str]]]:
    width, characters = len(headers), sum(map(len, headers))
    most_rows = min(most.rows, most.cells // max(width, 1))
    for count, (number, texts) in enumerate(filled, start=1):
        if count > most_rows:
            raise RefusedError(
                _("There are more than {most_rows} rows. Split the file, for example by year."),
                most_rows=most_rows,
            )
        if any(text.strip() for text in texts[width:]):
            raise RefusedError(
                _(
                    "Row {number} has more cells than there are column names. Name every column, "
                    "or clear the cells on the right."
                ),
                number=number,
            )
        padded = [*texts[:width], *[""] * (width - len(texts))]
        _check_lengths(number, padded)
        characters += sum(map(len, padded))
        if characters > most.characters:
            raise RefusedError(
                _(
                    "Up to row {number} the cells hold more than {most} million characters. Split "
                    "the file, for example by year."
                ),
                number=number,
                most=most.characters // 1_000_000,
            )
        yield number, [text.strip() for text in padded]


def _check_lengths(number: int, texts: list[str]) -> None:
    too_long = next((text for text in texts if len(text) > MAX_TEXT_LENGTH), None)
    if too_long is not None:
        raise RefusedError(
            _("Row {number} has a cell of {too_long} characters; the limit is {max_text_length}."),
            number=number,
            too_long=len(too_long),
            max_text_length=MAX_TEXT_LENGTH,
        )


def clock_of(seconds: int) -> dt.time:
    """The clock time so many seconds after midnight."""
    minutes, second = divmod(seconds % 86_400, 60)
    return dt.time(minutes // 60, minutes % 60, second)
