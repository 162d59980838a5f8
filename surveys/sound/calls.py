"""Calls that are made by computer: how one male sounds, as far as it is known.

The table is `fixtures/calls.json`, which says from where each value is. The browser makes the sound
(`web/calls/static/calls/synthesis.js`), by the same change of tempo with temperature as here.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Any

# What a part has none of; one note is never written down either.
_USUAL = (0, (0, 0), False)
_FILE = Path(__file__).parents[2] / "fixtures" / "calls.json"
FROM_MEMORY = "from memory"
# Pulses and calls come faster in the warmth, by this share of the tempo at 20 °C for each degree:
# from memory, about the middle of what toads and treefrogs do. Pitch hardly changes.
TEMPO_PER_DEGREE = 0.055
_TEMPO_CELSIUS = 20.0
# Beyond, a straight line says nothing of an animal.
COLDEST, WARMEST = 5.0, 32.0
# Hearing of high tones goes first; from memory, common from middle age on.
HIGH_HZ = 4000


@dataclass(frozen=True, kw_only=True)
class Part:
    """A part of a call, as `fixtures/calls.json` describes it: pitch in Hz, lengths in seconds,
    `pulse_rate` in pulses a second, 0 for a whole note. `note_every_s` holds what lies between the
    first two notes and between the last two."""

    pitch_hz: tuple[float, float]
    note_s: float
    second_hz: float = 0.0
    second_share: float = 0.0
    pulse_rate: float = 0.0
    notes: int = 1
    note_every_s: tuple[float, float] = (0.0, 0.0)
    then_s: float = 0.0
    plucked: bool = False


@dataclass(frozen=True, kw_only=True)
class Call:
    """The call of one male of a species at `at_celsius`; a new one begins every `every_s`.
    `sources` leads from the name of a value to the key of its source."""

    species: str
    at_celsius: float
    every_s: float
    parts: tuple[Part, ...]
    sources: Mapping[str, str]

    def source_of(self, value: str) -> str:
        """The source of a value, such as `pulse_rate`, in words."""
        return _sources()[self.sources[value]] if value in self.sources else FROM_MEMORY

    def plain(self) -> dict[str, Any]:
        """What the browser needs to make the sound; what a part does not have is left out."""
        return {
            "species": self.species,
            "at_celsius": self.at_celsius,
            "every_s": self.every_s,
            "parts": [
                {name: value for name, value in asdict(part).items() if value not in _USUAL}
                for part in self.parts
            ],
        }

    def pulse_rate_at(self, celsius: float) -> float | None:
        """Pulses a second at a temperature; None for a call of whole notes."""
        rates = [part.pulse_rate for part in self.parts if part.pulse_rate]
        return rates[0] * tempo(celsius, self.at_celsius) if rates else None


def call_of(species: str) -> Call | None:
    """The call of a species by its code; None where too little is known to make it."""
    return calls().get(species)


@cache
def calls() -> Mapping[str, Call]:
    """All calls of the table, by the code of their species."""
    made = (_call(row) for row in _table()["calls"])
    return {call.species: call for call in made}


def tempo(celsius: float, at_celsius: float) -> float:
    """How many times as fast as at `at_celsius` a male calls.

    >>> tempo(20, 20), round(tempo(10, 20), 2), tempo(-3, 12) == tempo(5, 12)
    (1.0, 0.45, True)
    """
    within = min(max(celsius, COLDEST), WARMEST)
    return _line(within) / _line(at_celsius)


def is_high(peak_hz: str) -> bool:
    """Whether all of a call lies where many ears no longer hear, by the bands of the catalog.

    >>> is_high("4700-5300"), is_high("810-990 + 2700-3300"), is_high("")
    (True, False, False)
    """
    lowest = [int(band.split("-")[0]) for band in peak_hz.split(" + ") if band]
    return bool(lowest) and min(lowest) >= HIGH_HZ


def _line(celsius: float) -> float:
    return 1 + TEMPO_PER_DEGREE * (celsius - _TEMPO_CELSIUS)


def _call(row: dict[str, Any]) -> Call:
    return Call(**row | {"parts": tuple(_part(part) for part in row["parts"])})


def _part(described: dict[str, Any]) -> Part:
    values: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value
        for name, value in described.items()
    }
    return Part(**values)


def _sources() -> dict[str, str]:
    found: dict[str, str] = _table()["sources"]
    return found


@cache
def _table() -> dict[str, Any]:
    table: dict[str, Any] = json.loads(_FILE.read_text("utf-8"))
    return table
