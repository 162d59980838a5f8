"""The yearly table and its data dictionary as CSV (RFC 4180, UTF-8).

The screen shows the same texts as the file, so both are made here.
"""

import csv
import datetime as dt
import io
from collections.abc import Iterable, Sequence

from surveys.trends.columns import (
    COLUMNS,
    YEARLY_FLAGS,
    Column,
)
from surveys.trends.table import (
    YearRow,
    row_values,
)

MEDIA_TYPE = "text/csv; charset=utf-8; header=present"
HEADER = tuple(column.name for column in COLUMNS)
DICTIONARY_HEADER = (
    "column",
    "code",
    "type",
    "unit",
    "meaning",
    "minimum",
    "maximum",
    "blank_allowed",
)

# A spreadsheet reads a cell that begins with one of these as a formula (common practice,
# no source). An apostrophe in front keeps it a text; one goes in front of an apostrophe too, so
# that taking one away always gives the text back.
_GUARDED = ("=", "+", "-", "@", "\t", "\r", "\n", "'")
_DECIMALS = 4


def guard(text: str) -> str:
    """The text, with an apostrophe in front where a spreadsheet would take it for a formula."""
    return "'" + text if text.startswith(_GUARDED) else text


def unguard(text: str) -> str:
    """The text that was guarded."""
    return text[1:] if text.startswith("'") else text


def cell_text(value: object) -> str:
    """A value as it stands in a cell: blank for None, ISO 8601 dates, shares to four places."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.{_DECIMALS}f}"
    if isinstance(value, dt.date):
        return value.isoformat()
    return guard(value) if isinstance(value, str) else str(value)


def row_texts(row: YearRow) -> tuple[str, ...]:
    """The cells of a row in the order of `HEADER`."""
    values = row_values(row)
    return tuple(cell_text(values[name]) for name in HEADER)


def table_csv(rows: Iterable[YearRow]) -> str:
    return to_csv(HEADER, map(row_texts, rows))


def dictionary_rows() -> list[tuple[str, ...]]:
    """A row for each column, then one for each code that stands in its cells."""
    codes = (("flags", code, "", "", meaning, "", "", "") for code, meaning in YEARLY_FLAGS.items())
    return [*map(_dictionary_row, COLUMNS), *codes]


def dictionary_csv() -> str:
    return to_csv(DICTIONARY_HEADER, dictionary_rows())


def guarded_csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Texts that people read, none of which a spreadsheet takes for a formula."""
    return to_csv(header, ([guard(str(cell)) for cell in row] for row in rows))


def to_csv(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Lines end in CR LF and cells are quoted only where they must be, as RFC 4180 says."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows(rows)
    return text.getvalue()


def from_csv(text: str) -> tuple[list[str], list[list[str]]]:
    """Header and rows of a CSV text."""
    header, *rows = csv.reader(io.StringIO(text, newline=""))
    return header, rows


def _dictionary_row(column: Column) -> tuple[str, ...]:
    limits = ("" if limit is None else f"{limit:g}" for limit in (column.minimum, column.maximum))
    return (
        column.name,
        "",
        column.type,
        guard(column.unit),
        guard(column.meaning),
        *limits,
        "no" if column.required else "yes",
    )
