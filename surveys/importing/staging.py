"""What was read from an uploaded file, kept beside it in parts, so that each step of an import goes
through the rows without reading the file again, and without holding them all."""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterator
from itertools import islice

from django.db import transaction

from surveys.bounded import Limits
from surveys.importing.layout import Layout
from surveys.importing.problems import UnreadableFileError
from surveys.importing.reading import ARCHIVE_LIMITS, archive_lines, table_of, takes_long
from surveys.importing.table import DifferentCells, Row, Rows, Table
from surveys.language import said
from surveys.models import ImportPart, SpreadsheetImport

_ROWS_IN_PART = 2_000
# The part that says what is known of the whole; the rows begin in the next.
_HEAD = 0
# Less would be saved by more: the rows are read as often as they are written.
_FAST = 1


class ReadFile:
    """An uploaded file as the process that read it answered: not kept yet."""

    def __init__(self, content: bytes, layout: Layout, limits: Limits = ARCHIVE_LIMITS) -> None:
        """Raises UnreadableFileError."""
        self._lines = archive_lines(content, layout, limits)
        self._head = json.loads(next(self._lines))

    @transaction.atomic
    def keep(self, row: SpreadsheetImport) -> Table:
        """Keep the rows as those of an upload, in place of what was read from it before."""
        SpreadsheetImport.objects.select_for_update().only("pk").get(pk=row.pk)
        _parts(row).delete()
        cells = DifferentCells(len(self._head["headers"]))
        count = number = 0
        while lines := list(islice(self._lines, _ROWS_IN_PART)):
            number += 1
            for line in lines:
                cells.add(json.loads(line)[1])
            count += len(lines)
            _keep_part(row, number, b"".join(lines))
        self._head |= {"count": count, "parts": number, "different": cells.by_column}
        _keep_part(row, _HEAD, json.dumps(self._head).encode())
        return kept_table(row)


def kept_table(row: SpreadsheetImport) -> Table:
    """The table that was read from an upload; the file is read where nothing of it is kept, unless
    that is for the worker.

    Raises UnreadableFileError.
    """
    packed = _parts(row).filter(number=_HEAD).values_list("packed", flat=True).first()
    if packed is None:
        content = bytes(row.content)
        if takes_long(content):
            raise UnreadableFileError(
                said(
                    "“{file_name}” is not read yet. Open it in the list of files.",
                    file_name=row.file_name,
                )
            )
        return ReadFile(content, layout_of(row)).keep(row)
    head = json.loads(zlib.decompress(packed))
    rows = Rows(lambda: _rows(row, head["parts"]), head["count"])
    return table_of(head, rows=rows, different=tuple(map(tuple, head["different"])))


def forget_parts(row: SpreadsheetImport) -> None:
    """For a file that was imported, so that nothing goes through its rows again, or that is to be
    read in another way."""
    _parts(row).delete()


def layout_of(row: SpreadsheetImport) -> Layout:
    return Layout(**row.answers.get("layout", {}))


def _parts(row: SpreadsheetImport):
    return ImportPart.objects.filter(upload=row)


def _keep_part(row: SpreadsheetImport, number: int, content: bytes) -> None:
    packed = zlib.compress(content, _FAST)
    ImportPart.objects.create(upload=row, number=number, packed=packed)


def _rows(row: SpreadsheetImport, parts: int) -> Iterator[Row]:
    for number in range(1, parts + 1):
        packed = _parts(row).values_list("packed", flat=True).get(number=number)
        for line in zlib.decompress(packed).splitlines():
            at, texts = json.loads(line)
            yield Row(number=at, texts=tuple(texts))
