"""Bytes of an uploaded file in, what it holds out. The file is read in another process."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from surveys import bounded
from surveys.importing.reading import Sentences, read_within_limits, table_of
from surveys.importing.table import Table
from surveys.language import gettext

LIMITS = bounded.Limits(seconds=60, cpu_seconds=30, memory_bytes=1024**3)

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
    sentences = Sentences(
        too_large=gettext(
            "The file has {content} MB; the limit is {most_bytes} MB. Split it, "
            "for example by region."
        ),
        over_limit=gettext(
            "Reading the file takes too much time or memory. Export only the routes and "
            "stops, and send that."
        ),
        broken=gettext(
            "The file is damaged, or not what it seems. Export it again from the program "
            "that made it."
        ),
    )
    return read_within_limits(content, _parsed, sentences)


def _parsed(content: bytes) -> bytes:
    return bounded.run("surveys.importing.places.files", "parse", content, LIMITS)


def places_file(stored: Mapping[str, Any]) -> PlacesFile:
    return PlacesFile(
        table=table_of(stored),
        lines=tuple(
            FoundLine(texts=line["texts"], points=tuple(map(tuple, line["points"])))
            for line in stored["lines"]
        ),
        outlines=tuple(
            tuple(tuple(map(tuple, ring)) for ring in polygon) for polygon in stored["outlines"]
        ),
    )
