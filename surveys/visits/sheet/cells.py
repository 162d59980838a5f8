"""The sheet as typed: a flat mapping of cell addresses to texts.

    night, temperature_unit, rain_unit, second_member, second_observer, notes, rain_48h
    own.<key>, start.<weather>, end.<weather>
    stops.<number>.<field>, stops.<number>.<clock>.fold, stops.<number>.calls.<species>
    stops.<number>.own.<key>
    sightings.<row>.<field>

A blank cell and a missing cell are equivalent.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from surveys.protocol.own_fields import CELL, KEY
from surveys.protocol.values import Where

VISIT_FIELDS = (
    "night",
    "temperature_unit",
    "rain_unit",
    "second_member",
    "second_observer",
    "notes",
    "rain_48h",
)
WEATHER_FIELDS = ("air_temperature", "beaufort", "sky")
CLOCK_FIELDS = ("arrived_at", "started_at", "finished_at")
STOP_FIELDS = (
    "status",
    "skip_reason",
    *CLOCK_FIELDS,
    *(f"{name}.fold" for name in CLOCK_FIELDS),
    "paused_minutes",
    "air_temperature",
    "water_temperature",
    "beaufort",
    "sky",
    "noise",
    "interrupted",
    "water_tonight",
    "note",
    "latitude",
    "longitude",
    "accuracy_m",
)
SIGHTING_FIELDS = ("stop", "species", "life_stage", "count", "color_form", "note")

MAX_ADDRESS_LENGTH = 200
MAX_TEXT_LENGTH = 10_000
MAX_CELLS = 5_000

_STOP = re.compile(r"stops\.([1-9][0-9]{0,3})\.(.+)", re.DOTALL)
_SIGHTING = re.compile(r"sightings\.([1-9][0-9]{0,3})\.(.+)", re.DOTALL)
_OWN = re.compile(re.escape(CELL) + KEY)
_CALL = re.compile(r"calls\.([-a-zA-Z0-9_]{1,80})")
# PostgreSQL stores neither NUL nor half of a surrogate pair in JSON or text.
_NOT_STORABLE = re.compile("[\x00\ud800-\udfff]")


@dataclass(frozen=True, kw_only=True)
class CellChange:
    """A change to one cell: the text that was changed, and the new text."""

    was: str
    now: str


@dataclass(frozen=True, kw_only=True)
class Conflict:
    """A cell that was filled differently by two devices. Neither text is lost."""

    address: str
    mine: str
    theirs: str


@dataclass(frozen=True, kw_only=True)
class SheetParts:
    """The cells that are not blank, grouped by part of the sheet."""

    visit: dict[str, str] = field(default_factory=dict)
    start: dict[str, str] = field(default_factory=dict)
    end: dict[str, str] = field(default_factory=dict)
    stops: dict[int, dict[str, str]] = field(default_factory=dict)
    sightings: dict[int, dict[str, str]] = field(default_factory=dict)
    unknown: list[str] = field(default_factory=list)


# Names of cells from before; phones and files may still write them.
_FORMER_STOP_FIELDS = {
    "noise_index": "noise",
    "cars": "own.cars",
    "moonlight": "own.moonlight",
}
_FORMER_VISIT_FIELDS = {"days_since_rain": "own.days_since_rain"}


def current_address(address: str) -> str:
    """The address under which the cell stands today: `stops.3.noise_index` is `stops.3.noise`."""
    match = _STOP.fullmatch(address)
    if match and match[2] in _FORMER_STOP_FIELDS:
        return f"stops.{match[1]}.{_FORMER_STOP_FIELDS[match[2]]}"
    return _FORMER_VISIT_FIELDS.get(address, address)


def storable(text: str) -> str:
    """The text with characters that the database cannot store replaced by �."""
    if text.isascii() and "\0" not in text:
        return text
    return _NOT_STORABLE.sub("\ufffd", text)


def merge(
    cells: Mapping[str, str], changes: Mapping[str, CellChange]
) -> tuple[dict[str, str], tuple[Conflict, ...]]:
    """Apply changes cell by cell.

    A cell goes by its current address. One that holds neither the text that was changed nor the
    new text was filled in elsewhere: it is left as it is, and returned as a conflict.
    """
    merged = dict(cells)
    conflicts = []
    for raw_address, change in changes.items():
        address, now = current_address(storable(raw_address)), storable(change.now)
        current = merged.get(address, "")
        if current == now:
            continue
        if current != storable(change.was):
            conflicts.append(Conflict(address=address, mine=now, theirs=current))
        elif now:
            merged[address] = now
        else:
            del merged[address]
    return merged, tuple(conflicts)


def split(cells: Mapping[str, str]) -> SheetParts:
    """Group the cells by part. Never raises: addresses that do not exist are `unknown`."""
    parts = SheetParts()
    for address, text in cells.items():
        if not text.strip():
            continue
        place = _place(address)
        if place is None:
            parts.unknown.append(address)
            continue
        part, number, name = place
        target = getattr(parts, part)
        if number is not None:
            target = target.setdefault(number, {})
        target[name] = text
    parts.unknown.sort()
    return parts


# Sheets have the same few addresses.
@lru_cache(maxsize=8192)
def _place(address: str) -> tuple[str, int | None, str] | None:
    """The part of the sheet, the number of the stop or row in it, and the name of the cell."""
    if address in VISIT_FIELDS or _OWN.fullmatch(address):
        return "visit", None, address
    head, _, name = address.partition(".")
    if head in ("start", "end") and name in WEATHER_FIELDS:
        return head, None, name
    if match := _STOP.fullmatch(address):
        number, name = int(match[1]), match[2]
        if name in STOP_FIELDS or _CALL.fullmatch(name) or _OWN.fullmatch(name):
            return "stops", number, name
    if match := _SIGHTING.fullmatch(address):
        row, name = int(match[1]), match[2]
        if name in SIGHTING_FIELDS:
            return "sightings", row, name
    return None


# Cells that the rules call by another name.
_STOP_CELLS = {"paused": "paused_minutes", "measured_at": "latitude", "stop": "status"}
_VISIT_CELLS = {
    f"{end}_{name}": f"{end}.{name}" for end in ("start", "end") for name in WEATHER_FIELDS
}
_VISIT_CELLS |= {name: f"start.{name}" for name in WEATHER_FIELDS}


def cell_of(where: Where) -> str:
    """The address of the cell that a finding is about; empty when it is no single cell."""
    name = where.field or ""
    if where.stop is None:
        name = _VISIT_CELLS.get(name, name)
        return name if _place(name) else ""
    if where.species is not None:
        return f"stops.{where.stop}.calls.{where.species}"
    return f"stops.{where.stop}.{_STOP_CELLS.get(name, name)}" if name else ""
