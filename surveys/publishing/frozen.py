"""What a format gets: the frozen tables of one publication, and what is to be said of them.

The tables are CSV files in a folder, so that a program of any size needs little memory and
every format, and every reader later, starts from the same bytes.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TextIO

from surveys.publishing.formats.yearly_csv import (
    guard,
    unguard,
)
from surveys.publishing.tables import (
    TABLE,
    CellType,
    Table,
)

Value = str | int | float | bool | dt.date | dt.datetime | None


def _boolean(text: str) -> bool:
    return {"true": True, "false": False}[text]


def _instant(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text.replace("Z", "+00:00"))


def _utc(instant: dt.datetime) -> str:
    return instant.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")


READ: Mapping[CellType, Callable[[str], Value]] = {
    "string": unguard,
    "integer": int,
    "number": float,
    "boolean": _boolean,
    "date": dt.date.fromisoformat,
    "datetime": _instant,
}
# Numbers in full, so that reading them gives the same number to the last digit.
WRITE: Mapping[CellType, Callable[..., str]] = {
    "string": guard,
    "integer": str,
    "number": repr,
    "boolean": lambda value: "true" if value else "false",
    "date": dt.date.isoformat,
    "datetime": _utc,
}


@dataclass(frozen=True, kw_only=True)
class About:
    """What is to be said of a publication. `url` is its stable address; `observers` are the
    names of those who agreed to be named; `license` an SPDX identifier; `country_code` ISO 3166-1
    alpha-2, blank where it is not known."""

    program: str
    slug: str
    region: str
    country_code: str
    time_zone: str
    contact_email: str
    season_year: int
    first_year: int
    version: int
    title: str
    reason: str
    published_at: dt.datetime
    software: str
    method: str
    license: str
    license_url: str
    observers: tuple[str, ...]
    observer_count: int
    citation: str
    url: str


@dataclass(frozen=True, kw_only=True)
class Frozen:
    """A publication's tables in `folder`, one file a table, where `Table.file` says."""

    about: About
    folder: Path

    def rows(self, table: str) -> Iterator[tuple[Value, ...]]:
        """The rows of a table as Python values in the order of its columns; None for blank."""
        with (self.folder / TABLE[table].file).open(encoding="utf-8", newline="") as file:
            yield from read_rows(file, TABLE[table])

    def records(self, table: str) -> Iterator[dict[str, Any]]:
        """The rows of a table by the names of its columns."""
        header = TABLE[table].header
        return (dict(zip(header, row, strict=True)) for row in self.rows(table))


def write_table(folder: Path, table: Table, rows: Iterable[Sequence[Value]]) -> None:
    """Write a table row by row (RFC 4180, UTF-8); None and empty text become a blank cell."""
    path = folder / table.file
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as file:
        _write(file, table, rows)


def table_bytes(table: Table, rows: Iterable[Sequence[Value]]) -> bytes:
    """The bytes that `write_table` would write."""
    text = io.StringIO(newline="")
    _write(text, table, rows)
    return text.getvalue().encode()


def read_rows(lines: Iterable[str], table: Table) -> Iterator[tuple[Value, ...]]:
    """The rows of a table from its CSV lines; None for blank, and for columns that the file does
    not have, because it is older than they are."""
    cells = csv.reader(lines)
    header = next(cells, [])
    reads = [
        (READ[column.type], header.index(column.name) if column.name in header else None)
        for column in table.columns
    ]
    for line in cells:
        texts = ((read, "" if place is None else line[place]) for read, place in reads)
        yield tuple(read(text) if text else None for read, text in texts)


def _write(file: TextIO, table: Table, rows: Iterable[Sequence[Value]]) -> None:
    writes = [WRITE[column.type] for column in table.columns]
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(table.header)
    writer.writerows(
        [
            "" if value is None or value == "" else write(value)
            for write, value in zip(writes, row, strict=True)
        ]
        for row in rows
    )
