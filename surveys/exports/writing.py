"""Live records as one file of any length: CSV, JSON lines or Parquet.

PostgreSQL makes the text itself (COPY … TO STDOUT), which is passed on as it comes, so that
memory stays the same however many rows there are.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet
from django.db import connection

from surveys.exports.records import (
    Kind,
    RecordTable,
    Statement,
)
from surveys.publishing.freeze import snapshot

CHUNK = 64 * 1024
ROW_GROUP = 4 * 1024 * 1024

# The signs of surveys.publishing.formats.yearly_csv, in SQL: an apostrophe keeps the cell a text.
_GUARDED = (
    """CASE WHEN left("{0}", 1) IN ('=', '+', '-', '@', E'\\t', E'\\r', E'\\n', '\'\'')"""
    """ THEN '\'\'' || "{0}" ELSE "{0}" END AS """
    '"{0}"'
)
# How a column is written in CSV, by its kind; a flag as in published tables: true or false.
_CSV: dict[Kind, str] = {"text": _GUARDED, "flag": '"{0}"::text AS "{0}"'}
_HEADED = "(FORMAT csv, HEADER)"
# JSON never holds these two signs unescaped, so that COPY quotes and escapes nothing.
_RAW_LINES = "(FORMAT csv, DELIMITER E'\\x02', QUOTE E'\\x01')"
_ARROW: dict[Kind, pa.DataType] = {
    "id": pa.string(),
    "text": pa.string(),
    "whole": pa.int32(),
    "number": pa.float64(),
    "flag": pa.bool_(),
    "date": pa.date32(),
    "instant": pa.timestamp("s", tz="UTC"),
}


@dataclass(frozen=True, kw_only=True)
class ExportFormat:
    """`write` gives the bytes of a file with the rows of a statement."""

    name: str
    ending: str
    media_type: str
    write: Callable[[RecordTable, Statement], Iterator[bytes]]


def csv_blocks(table: RecordTable, statement: Statement) -> Iterator[bytes]:
    """CSV with a header; lines end in LF. A text that a spreadsheet would take for a formula
    has an apostrophe before it, as in published tables."""
    columns = ",\n".join(
        _CSV.get(column.kind, '"{0}"').format(column.name) for column in table.columns
    )
    sql = f"SELECT {columns} FROM ({statement.sql}) AS records"  # noqa: S608 - both are our own text
    yield from _chunks(sql, statement, _HEADED)


def json_blocks(table: RecordTable, statement: Statement) -> Iterator[bytes]:
    """One JSON object a line."""
    sql = f"SELECT row_to_json(records) FROM ({statement.sql}) AS records"  # noqa: S608 - our own text
    yield from _chunks(sql, statement, _RAW_LINES)


def parquet_blocks(table: RecordTable, statement: Statement) -> Iterator[bytes]:
    """Parquet in row groups of some 4 MiB of text each."""
    types = {column.name: _ARROW[column.kind] for column in table.columns}
    sink = _Sink()
    with pa.parquet.ParquetWriter(sink, pa.schema(list(types.items()))) as writer:
        for rows in _chunks(statement.sql, statement, "(FORMAT csv)", least=ROW_GROUP):
            writer.write_table(_arrow_table(rows, types))
            yield sink.drain()
    yield sink.drain()


EXPORT_FORMATS = {
    form.name: form
    for form in (
        ExportFormat(
            name="csv",
            ending="csv",
            media_type="text/csv; charset=utf-8; header=present",
            write=csv_blocks,
        ),
        ExportFormat(
            name="json", ending="jsonl", media_type="application/x-ndjson", write=json_blocks
        ),
        ExportFormat(
            name="parquet",
            ending="parquet",
            media_type="application/vnd.apache.parquet",
            write=parquet_blocks,
        ),
    )
}


def _chunks(sql: str, statement: Statement, options: str, *, least: int = CHUNK) -> Iterator[bytes]:
    """What COPY sends, whole rows together in chunks of at least `least` bytes."""
    with snapshot(), connection.cursor() as cursor:
        with cursor.copy(f"COPY ({sql}) TO STDOUT WITH {options}", statement.parameters) as copy:
            chunk = bytearray()
            for row in copy:
                chunk += row
                if len(chunk) >= least:
                    yield bytes(chunk)
                    chunk.clear()
        if chunk:
            yield bytes(chunk)


def _arrow_table(rows: bytes, types: dict[str, pa.DataType]) -> pa.Table:
    return pa.csv.read_csv(
        io.BytesIO(rows),
        read_options=pa.csv.ReadOptions(use_threads=False, column_names=list(types)),
        parse_options=pa.csv.ParseOptions(newlines_in_values=True),
        convert_options=pa.csv.ConvertOptions(
            column_types=types,
            null_values=[""],
            strings_can_be_null=True,
            quoted_strings_can_be_null=False,
            true_values=["t"],
            false_values=["f"],
        ),
    )


class _Sink(io.RawIOBase):
    """A file in memory whose contents are taken out as they come."""

    def __init__(self) -> None:
        super().__init__()
        self._written = bytearray()
        self._position = 0

    def writable(self) -> bool:
        return True

    def write(self, data: bytes) -> int:
        self._written += data
        self._position += len(data)
        return len(data)

    def tell(self) -> int:
        return self._position

    def drain(self) -> bytes:
        """What was written since the last call."""
        written = bytes(self._written)
        self._written.clear()
        return written
