"""What a format gets: the frozen tables of one publication, and what is to be said of them.

The tables are CSV files in a folder, so that a programme of any size needs little memory and
every format, and every reader later, starts from the same bytes.
"""

from __future__ import annotations

import csv
import datetime as dt
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from surveys.publishing.tables import TABLE, CellType

Value = str | int | float | bool | dt.date | dt.datetime | None


def _boolean(text: str) -> bool:
    return {"true": True, "false": False}[text]


def _instant(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text.replace("Z", "+00:00"))


READ: Mapping[CellType, Callable[[str], Value]] = {
    "string": str,
    "integer": int,
    "number": float,
    "boolean": _boolean,
    "date": dt.date.fromisoformat,
    "datetime": _instant,
}


@dataclass(frozen=True, kw_only=True)
class About:
    """What is to be said of a publication. `url` is its stable address; `observers` are the
    names of those who agreed to be named; `licence` an SPDX identifier."""

    programme: str
    slug: str
    region: str
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
    licence: str
    licence_url: str
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
        reads = [READ[column.type] for column in TABLE[table].columns]
        with (self.folder / TABLE[table].file).open(encoding="utf-8", newline="") as file:
            lines = csv.reader(file)
            next(lines)
            for line in lines:
                yield tuple(
                    read(text) if text else None for read, text in zip(reads, line, strict=True)
                )
