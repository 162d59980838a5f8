"""Bytes of a CSV file in, a table out. Runs in `surveys.bounded`."""

import csv
import io
from collections.abc import Iterator

from surveys.bounded import RefusedError
from surveys.importing.parsed import Line, table_json
from surveys.language import gettext_noop as _

_UTF16 = (b"\xff\xfe", b"\xfe\xff")
_DELIMITERS = (",", ";", "\t")
_SNIFFED_ROWS = 30


def parse(content: bytes) -> bytes:
    """The table as JSON. Raises RefusedError."""
    text, encoding = _decode(content)
    if "\x00" in text:
        raise RefusedError(_("This is not a CSV or XLSX file."))
    notices = (
        ()
        if encoding != "cp1252"
        else (
            (
                _(
                    "The file is not in UTF-8, so it was read as Windows text. Check accented "
                    "letters."
                ),
                {},
            ),
        )
    )
    return table_json(_lines(text, _delimiter(text)), notices)


def _lines(text: str, delimiter: str) -> Iterator[Line]:
    number = 0
    try:
        for texts in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter):
            number += 1
            yield number, texts
    except csv.Error as error:
        raise RefusedError(
            _(
                "Row {number} could not be read as CSV ({error}). Look for a quotation mark "
                "that is not closed, or save the file again as CSV or XLSX."
            ),
            number=number + 1,
            error=error,
        ) from None


def _decode(content: bytes) -> tuple[str, str]:
    encodings = ("utf-16",) if content.startswith(_UTF16) else ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            return content.decode(encoding), encoding
        except UnicodeDecodeError:
            continue
    raise RefusedError(_("The text of the file cannot be read. Save it as CSV in UTF-8."))


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
