"""Spreadsheets for tests, and a reader for those that are about what is read, not about how."""

import io
import json
import zipfile

from openpyxl import Workbook

from surveys.importing import csv_files, reading, workbooks
from surveys.importing.table import Table


def workbook(*sheets: list[list[object]]) -> bytes:
    book = Workbook()
    book.remove(book.active)
    for number, rows in enumerate(sheets, start=1):
        sheet = book.create_sheet(f"Sheet {number}")
        for row in rows:
            sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def read_here(content: bytes) -> Table:
    """As `read_table`, in this process."""
    module = workbooks if zipfile.is_zipfile(io.BytesIO(content)) else csv_files
    return reading.table_of(json.loads(module.parse(content)))
