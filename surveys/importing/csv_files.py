"""Bytes of a CSV file in, a table out. Runs in `surveys.bounded`."""

import csv
import io
from collections.abc import Callable, Iterator
from typing import Any

from surveys.bounded import RefusedError
from surveys.importing.layout import Layout, Line, taken_apart
from surveys.importing.parsed import table_json, table_lines
from surveys.language import gettext_noop as _

_UTF16 = (b"\xff\xfe", b"\xfe\xff")
_DELIMITERS = (",", ";", "\t", "|")
_SNIFFED_ROWS = 30
_SNIFFED_BYTES = 4_000


def parse_chosen(payload: bytes) -> bytes:
    """As `parse`, of a file behind its layout. Raises RefusedError."""
    layout, content = taken_apart(payload)
    return parse(content, layout)


def archive_lines(payload: bytes) -> Iterator[bytes]:
    """An archive behind its layout, line by line. Raises RefusedError."""
    layout, content = taken_apart(payload)
    return parse(content, layout, made=table_lines)


def parse(
    content: bytes, layout: Layout | None = None, *, made: Callable[..., Any] = table_json
) -> Any:
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
    return made(_lines(text, _delimiter(text)), notices, layout)


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
    for encoding in _encodings(content):
        try:
            return content.decode(encoding), encoding
        except UnicodeDecodeError:
            continue
    raise RefusedError(_("The text of the file cannot be read. Save it as CSV in UTF-8."))


def _encodings(content: bytes) -> tuple[str, ...]:
    if content.startswith(_UTF16):
        return ("utf-16",)
    # UTF-16 without its mark: every other byte of plain letters, digits and commas is 0.
    begin = content[:_SNIFFED_BYTES]
    even, odd = begin[0::2].count(0), begin[1::2].count(0)
    if max(even, odd) * 4 > len(begin):
        return ("utf-16-be",) if even > odd else ("utf-16-le",)
    return ("utf-8-sig", "cp1252")


def _delimiter(text: str) -> str:
    """The delimiter that gives the first rows the most columns of even number."""

    def evenness(delimiter: str) -> tuple[int, int]:
        widths: list[int] = []
        try:
            for line in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter):
                if any(line):
                    widths.append(len(line))
                if len(widths) == _SNIFFED_ROWS:
                    break
        except csv.Error:
            return (0, 0)
        # Not the first: a title may stand above the names.
        usual = max(set(widths), key=lambda width: (widths.count(width), width), default=0)
        return (widths.count(usual) if usual > 1 else 0, usual)

    return max(_DELIMITERS, key=evenness)
