"""Bytes of an uploaded file in, a table of texts out. The file is read in another process."""

import json
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from surveys import bounded
from surveys.importing.layout import Layout
from surveys.importing.problems import UnreadableFileError
from surveys.importing.table import Row, Table
from surveys.language import gettext, said

MOST_BYTES = 10 * 1024 * 1024
MOST_BYTES_OF_ARCHIVE = 50 * 1024 * 1024
LIMITS = bounded.Limits(seconds=45, cpu_seconds=20, memory_bytes=1024**3)
# Longer, and the proxy gives up waiting.
ARCHIVE_LIMITS = bounded.Limits(seconds=70, cpu_seconds=60, memory_bytes=1024**3)
LIMITS_IN_WORKER = bounded.Limits(seconds=480, cpu_seconds=300, memory_bytes=1024**3)
# A request may take some seconds. A workbook is packed: 500 kB are about ten thousand rows.
MOST_BYTES_OF_WORKBOOK_AT_ONCE = 500_000
MOST_BYTES_OF_TEXT_AT_ONCE = 5_000_000


@dataclass(frozen=True, kw_only=True)
class Sentences:
    """What to do about a file that cannot be read; it depends on what the file is for."""

    too_large: str
    over_limit: str
    broken: str


_ZIP = b"PK\x03\x04"
_OLD_EXCEL = b"\xd0\xcf\x11\xe0"


def read_table(content: bytes, layout: Layout | None = None) -> Table:
    """Read a small CSV or XLSX file. The kind is told from the content, not from the name.

    Raises UnreadableFileError with a sentence that says what to do.
    """
    return table_of(read_within_limits(content, lambda file: _parsed(file, layout), _sentences()))


def takes_long(content: bytes) -> bool:
    """Whether reading an archive of visits is for the worker."""
    is_workbook = content.startswith(_ZIP)
    most = MOST_BYTES_OF_WORKBOOK_AT_ONCE if is_workbook else MOST_BYTES_OF_TEXT_AT_ONCE
    return len(content) > most


def check_archive(content: bytes) -> None:
    """What is known of an archive of visits before it is read. Raises UnreadableFileError."""
    _check_whole(content, _sentences().too_large, MOST_BYTES_OF_ARCHIVE)


def archive_lines(
    content: bytes, layout: Layout, limits: bounded.Limits = ARCHIVE_LIMITS
) -> Iterator[bytes]:
    """What `table_of` needs of an archive of visits, then a line for each row: its number, and its
    texts. The file is read when the first line is asked for. Raises UnreadableFileError."""
    check_archive(content)
    sentences = _sentences()
    module = f"surveys.importing.{_module(content)}"
    with _said(sentences):
        yield from bounded.run_lines(module, "archive_lines", content, limits, before=layout.head)


def _sentences() -> Sentences:
    return Sentences(
        too_large=gettext(
            "The file has {content} MB; the limit is {most_bytes} MB. Split it, "
            "for example by year."
        ),
        over_limit=gettext(
            "Reading the file takes too much time or memory. Copy the rows of the visits "
            "into a new sheet, save it as CSV, and send that."
        ),
        broken=gettext(
            "The file is damaged, or not what it seems. Open it in a spreadsheet program, "
            "and save it again as .xlsx or CSV."
        ),
    )


def _parsed(content: bytes, layout: Layout | None) -> bytes:
    module = f"surveys.importing.{_module(content)}"
    head = (layout or Layout()).head
    return bounded.run(module, "parse_chosen", content, LIMITS, before=head)


def _module(content: bytes) -> str:
    return "workbooks" if content.startswith(_ZIP) else "csv_files"


def read_within_limits(
    content: bytes, parse: Callable[[bytes], bytes], sentences: Sentences
) -> dict[str, Any]:
    """What `parse` makes of a file, in a process of its own. Raises UnreadableFileError."""
    _check_whole(content, sentences.too_large, MOST_BYTES)
    with _said(sentences):
        return json.loads(parse(content))


@contextmanager
def _said(sentences: Sentences) -> Iterator[None]:
    try:
        yield
    except bounded.RefusedError as refusal:
        raise UnreadableFileError(str(refusal)) from None
    except bounded.OverLimitError:
        raise UnreadableFileError(sentences.over_limit) from None
    except bounded.BrokenError:
        raise UnreadableFileError(sentences.broken) from None


def _check_whole(content: bytes, too_large: str, most_bytes: int) -> None:
    if not content or content.isspace():
        raise UnreadableFileError(gettext("The file is empty."))
    if len(content) > most_bytes:
        raise UnreadableFileError(
            too_large.format(
                content=f"{len(content) / 1024**2:.0f}", most_bytes=most_bytes // 1024**2
            )
        )
    if content.startswith(_OLD_EXCEL):
        raise UnreadableFileError(
            gettext(
                "This is an old Excel file (.xls), or one with a password. Open it, and "
                "save it without a password as .xlsx or CSV."
            )
        )


def table_of(
    parsed: Mapping[str, Any],
    *,
    rows: Collection[Row] | None = None,
    different: tuple[tuple[str, ...], ...] | None = None,
) -> Table:
    """With the rows that were parsed, or others."""
    if rows is None:
        rows = tuple(Row(number=number, texts=tuple(texts)) for number, texts in parsed["rows"])
    return Table(
        headers=named_columns(parsed["headers"]),
        rows=rows,
        different=different,
        notices=tuple(said(text, **values) for text, values in parsed["notices"]),
        sheets=tuple(parsed.get("sheets", ())),
        names_row=parsed.get("names_row", 1),
        name_rows=parsed.get("name_rows", 1),
    )


def named_columns(headers: Iterable[str]) -> tuple[str, ...]:
    """Every column gets a name of its own, so that problems can point to it."""
    seen: dict[str, int] = {}
    named = []
    for position, header in enumerate(headers, start=1):
        name = header or said("column {position}", position=position)
        seen[name] = seen.get(name, 0) + 1
        named.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return tuple(named)
