"""Bytes of an uploaded file in, what it holds out. The file is read in another process."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from surveys import bounded
from surveys.importing.problems import UnreadableFileError
from surveys.importing.reading import MOST_BYTES, named_columns
from surveys.importing.table import Row, Table
from surveys.language import gettext, said

LIMITS = bounded.Limits(seconds=60, cpu_seconds=30, memory_bytes=1024**3)
_OLD_EXCEL = b"\xd0\xcf\x11\xe0"

Position = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class FoundLine:
    """`texts` are its attributes by header, as those of a row."""

    texts: Mapping[str, str]
    points: tuple[Position, ...]


@dataclass(frozen=True, kw_only=True)
class PlacesFile:
    """A row for each point or line of a spreadsheet, lines, and polygons: rings of positions, the
    outer one first. Positions are latitude, longitude."""

    table: Table
    lines: tuple[FoundLine, ...]
    outlines: tuple[tuple[tuple[Position, ...], ...], ...]


def read_places(content: bytes) -> dict[str, Any]:
    """What a file holds, as it is stored; `places_file` makes values of it.

    Raises UnreadableFileError with a sentence that says what to do.
    """
    _check_whole(content)
    try:
        return json.loads(bounded.run("surveys.importing.places.files", "parse", content, LIMITS))
    except bounded.RefusedError as refusal:
        raise UnreadableFileError(str(refusal)) from None
    except bounded.OverLimitError:
        raise UnreadableFileError(
            gettext(
                "Reading the file takes too much time or memory. Export only the routes and "
                "stops, and send that."
            )
        ) from None
    except bounded.BrokenError:
        raise UnreadableFileError(
            gettext(
                "The file is damaged, or not what it seems. Export it again from the program "
                "that made it."
            )
        ) from None


def _check_whole(content: bytes) -> None:
    if not content or content.isspace():
        raise UnreadableFileError(gettext("The file is empty."))
    if len(content) > MOST_BYTES:
        raise UnreadableFileError(
            said(
                "The file has {size} MB; the limit is {most} MB. Split it, for example by region.",
                size=f"{len(content) / 1024**2:.0f}",
                most=MOST_BYTES // 1024**2,
            )
        )
    if content.startswith(_OLD_EXCEL):
        raise UnreadableFileError(
            gettext(
                "This is an old Excel file (.xls), or one with a password. Open it, and "
                "save it without a password as .xlsx or CSV."
            )
        )


def places_file(stored: Mapping[str, Any]) -> PlacesFile:
    return PlacesFile(
        table=Table(
            headers=named_columns(stored["headers"]),
            rows=tuple(Row(number=number, texts=tuple(texts)) for number, texts in stored["rows"]),
            notices=tuple(said(text, **values) for text, values in stored["notices"]),
        ),
        lines=tuple(
            FoundLine(texts=line["texts"], points=tuple(map(tuple, line["points"])))
            for line in stored["lines"]
        ),
        outlines=tuple(
            tuple(tuple(map(tuple, ring)) for ring in polygon) for polygon in stored["outlines"]
        ),
    )
