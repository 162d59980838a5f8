"""What a file of places holds, as plain values: a row of texts for each point, the lines, the
outlines of areas. Runs in `surveys.bounded`; every reader of a format fills a `Found`."""

import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from surveys.bounded import RefusedError
from surveys.importing.parsed import (
    MAX_TEXT_LENGTH,
    MOST_COLUMNS,
    SMALL,
    Notice,
)
from surveys.language import gettext_noop as _

# Headers of what a format says by itself, beside the attributes that the file brings.
ROUTE, STOP, NAME, FOLDER, NOTES = "Route", "Stop", "Name", "Folder", "Notes"
LATITUDE, LONGITUDE = "Latitude", "Longitude"

MOST_LINES = 2_000
MOST_POSITIONS = 300_000
_NOT_STORABLE = re.compile("[\x00\ud800-\udfff]")

Position = tuple[float, float]


@dataclass
class Found:
    """Positions are latitude, longitude. `rows` are the points, each a text by header."""

    rows: list[Mapping[str, str]] = field(default_factory=list)
    lines: list[dict[str, object]] = field(default_factory=list)
    outlines: list[list[list[Position]]] = field(default_factory=list)
    notices: list[Notice] = field(default_factory=list)
    _positions: int = 0
    _characters: int = 0

    def add_point(self, position: Position, texts: Mapping[str, object]) -> None:
        if len(self.rows) == SMALL.rows:
            raise RefusedError(
                _("There are more than {most} points. Split the file, for example by region."),
                most=SMALL.rows,
            )
        if len(texts) > MOST_COLUMNS:
            raise RefusedError(_("There are more than {most} columns."), most=MOST_COLUMNS)
        latitude, longitude = self._checked([position])[0]
        kept = _kept(texts) | {LATITUDE: f"{latitude:.7f}", LONGITUDE: f"{longitude:.7f}"}
        self._characters += sum(map(len, kept.values()))
        if self._characters > SMALL.characters:
            raise RefusedError(
                _(
                    "Up to point {number} the file holds more than {most} million characters. "
                    "Split it, for example by region."
                ),
                number=len(self.rows) + 1,
                most=SMALL.characters // 1_000_000,
            )
        self.rows.append(kept)

    def add_line(self, positions: Iterable[Position], texts: Mapping[str, object]) -> None:
        """A line that goes nowhere is left out."""
        points = _without_repeats(self._checked(positions))
        if len(points) < 2:
            return
        if len(self.lines) == MOST_LINES:
            raise RefusedError(
                _("There are more than {most} lines. Split the file, for example by region."),
                most=MOST_LINES,
            )
        self.lines.append({"texts": _kept(texts), "points": points})

    def add_outline(self, rings: Iterable[Iterable[Position]]) -> None:
        """The rings of one polygon, the outer one first."""
        self.outlines.append([self._checked(ring) for ring in rings])

    def _checked(self, positions: Iterable[Position]) -> list[Position]:
        checked = []
        for latitude, longitude in positions:
            self._positions += 1
            if self._positions > MOST_POSITIONS:
                raise RefusedError(
                    _("The file has more than {most} positions. Simplify its lines."),
                    most=MOST_POSITIONS,
                )
            checked.append(_position(latitude, longitude, self._positions))
        return checked

    def json(self) -> bytes:
        """Raises RefusedError when there is nothing."""
        if not (self.rows or self.lines or self.outlines):
            raise RefusedError(_("The file holds no points, lines or areas."))
        headers = list(dict.fromkeys(header for row in self.rows for header in row))
        if len(headers) > MOST_COLUMNS:
            raise RefusedError(_("There are more than {most} columns."), most=MOST_COLUMNS)
        rows = [
            (number, [row.get(header, "") for header in headers])
            for number, row in enumerate(self.rows, start=1)
        ]
        return as_json(headers, rows, self.lines, self.outlines, self.notices)


def as_json(
    headers: Sequence[str],
    rows: Sequence[tuple[int, list[str]]],
    lines: Sequence[object] = (),
    outlines: Sequence[object] = (),
    notices: Sequence[Notice] = (),
) -> bytes:
    found = {
        "headers": headers,
        "rows": rows,
        "lines": lines,
        "outlines": outlines,
        "notices": notices,
    }
    return json.dumps(found).encode()


def storable(value: object) -> str:
    """One line of text that the database can store, no longer than a cell may be."""
    text = " ".join(_NOT_STORABLE.sub("\ufffd", str(value)).split())
    return text if len(text) <= MAX_TEXT_LENGTH else f"{text[: MAX_TEXT_LENGTH - 1]}…"


def _kept(texts: Mapping[str, object]) -> dict[str, str]:
    kept = {storable(name): storable(value) for name, value in texts.items() if value is not None}
    return {name: text for name, text in kept.items() if name and text}


def _position(latitude: float, longitude: float, number: int) -> Position:
    if not (math.isfinite(latitude) and math.isfinite(longitude)):
        raise RefusedError(_("Position {number} of the file is not a number."), number=number)
    if abs(latitude) > 90 or abs(longitude) > 180:
        raise RefusedError(
            _(
                "Position {number} of the file is not on the globe (latitude {latitude}, "
                "longitude {longitude}). Export it with latitude and longitude (WGS 84)."
            ),
            number=number,
            latitude=f"{latitude:.10g}",
            longitude=f"{longitude:.10g}",
        )
    return float(latitude), float(longitude)


def _without_repeats(points: Sequence[Position]) -> list[Position]:
    return [
        point for number, point in enumerate(points) if number == 0 or point != points[number - 1]
    ]
