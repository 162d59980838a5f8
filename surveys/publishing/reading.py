"""The tables of a publication, read back from its files."""

from __future__ import annotations

import codecs
import csv
from collections.abc import Iterator
from typing import Any

from surveys.models import (
    Program,
    Publication,
    PublicationFile,
)
from surveys.publishing.files import (
    file_of,
    open_file,
)
from surveys.publishing.frozen import (
    Value,
    read_rows,
)
from surveys.publishing.tables import TABLE

# Publications from before the tables of rows hold the yearly table alone, under this name.
_BEFORE = {"yearly": "table.csv"}


def rows_of(
    publication: Publication, table: str
) -> tuple[tuple[str, ...], Iterator[tuple[Value, ...]]]:
    """Header and rows of a table; no rows when the publication has no such table."""
    file = _file(publication, table)
    rows = iter(()) if file is None else read_rows(_lines(file), TABLE[table])
    return TABLE[table].header, rows


def cells_of(publication: Publication, table: str) -> tuple[list[str], Iterator[list[str]]]:
    """Header and rows of a table as they are in its file, without reading their meaning."""
    file = _file(publication, table)
    rows = csv.reader(_lines(file) if file else ())
    return next(rows, []), rows


def published_null_runs(program: Program) -> dict[str, dict[str, Any]]:
    """The null runs of the program's newest publication by species, each with the season year and
    version of that publication; none without one."""
    standing = program.publications.filter(withdrawal=None)
    publication = standing.order_by("-season_year", "-version").first()
    if publication is None:
        return {}
    header, rows = rows_of(publication, "null_runs")
    of_publication = {"season_year": publication.season_year, "version": publication.version}
    records = (dict(zip(header, row, strict=True)) for row in rows)
    return {str(row["species"]): {**row, **of_publication} for row in records}


def _file(publication: Publication, table: str) -> PublicationFile | None:
    file = file_of(publication, TABLE[table].file, exact=False)
    if file is None and table in _BEFORE:
        return file_of(publication, _BEFORE[table], exact=False)
    return file


def _lines(file: PublicationFile) -> Iterator[str]:
    """Lines with their ends, from pieces that end anywhere."""
    decode = codecs.getincrementaldecoder("utf-8")().decode
    left = ""
    for piece in open_file(file):
        *lines, left = (left + decode(piece)).split("\n")
        for line in lines:
            yield line + "\n"
    if left:
        yield left
