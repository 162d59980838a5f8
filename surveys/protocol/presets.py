"""Protocol presets: starting values for a program, each number with its source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from surveys.protocol.plain import from_plain
from surveys.protocol.values import Protocol


class Mark(StrEnum):
    """How well a number is known."""

    CHECKED = "C"
    FROM_MEMORY = "M"
    COMMON_PRACTICE = "P"
    OWN_DEFAULT = "O"


@dataclass(frozen=True, kw_only=True)
class Source:
    """Where the value of one field of a preset comes from.

    `field` is a field of the protocol; that of a window is written `windows.opens`.
    """

    field: str
    mark: Mark
    source: str


@dataclass(frozen=True, kw_only=True)
class Preset:
    """A protocol to begin from. `sources` has an entry for every field it sets."""

    code: str
    summary: str
    protocol: Protocol
    sources: tuple[Source, ...]


@dataclass(frozen=True, kw_only=True)
class _PresetFile:
    about: str
    presets: tuple[Preset, ...]


def presets_from_plain(data: Mapping[str, object]) -> tuple[Preset, ...]:
    """Read the content of `fixtures/protocol_presets.json`.

    Raises PlainError that names the place of a mistake.
    """
    return from_plain(_PresetFile, data, at="file").presets
