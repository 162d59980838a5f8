"""What a limit of a protocol is."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import NoneType
from typing import Any, get_args, get_type_hints

from surveys.protocol.limits.phrases import Units
from surveys.protocol.values import DistanceUnit, Protocol


class Kind(StrEnum):
    """What the value of a limit is. Whatever stores or shows limits has one way for each kind."""

    LENGTH = "length of time"  # timedelta; stored in seconds, typed in minutes
    AFTER_SUNSET = "time after sunset"  # timedelta; stored and typed in whole minutes
    CLOCK = "clock time"  # time
    COUNT = "count"  # int
    CODE = "code"  # int, one of `codes`
    CODES = "codes"  # frozenset of int, each one of `codes`
    CHOICE = "choice"  # a member of an enum, one of `codes`
    YES_NO = "yes or no"  # bool
    LONG_DISTANCE = "long distance"  # float; stored in meters, typed in kilometers or miles
    SHORT_DISTANCE = "short distance"  # float; stored in meters, typed in meters or feet
    SPEED = "speed"  # float; stored in km/h
    TEMPERATURES = "temperatures"  # lowest and highest as Decimal, stored in °C


class Group(StrEnum):
    """The parts of the form of a protocol, in the order of an evening."""

    EVENING = "The evening"
    LISTENING = "Listening"
    WEATHER = "Weather and noise"
    STOPS = "Stops and visits"


_UNIT_WORDS = {
    DistanceUnit.KILOMETERS: {"long": "kilometers", "short": "meters"},
    DistanceUnit.MILES: {"long": "miles", "short": "feet"},
}
_SUFFIXES = {Kind.LENGTH: "_s", Kind.AFTER_SUNSET: "_min"}
_FIELDS = {item.name: item for item in dataclasses.fields(Protocol)}
_TYPES = get_type_hints(Protocol)


@dataclass(frozen=True, kw_only=True)
class Limit:
    """One limit that a protocol may set.

    `name` is a field of `values.Protocol`. `label` and `help` are those of the form; `{long}` and
    `{short}` in them stand for the program's units of distance, `{degrees}` for its unit of
    temperature. `lowest` and `highest` are in the unit that is stored. `codes` leads from the
    values to choose from to their words.

    `words` says what the protocol asks, under `heading`, or None where it asks nothing. A limit
    without a heading is said together with the limit before it. Limits `for_coordinators` are told
    to nobody else. What is heard depends on the limits that are marked `changes_hearing`: a trend
    has a break where one of them changed.
    """

    name: str
    kind: Kind
    group: Group
    label: str
    help: str = ""
    lowest: int | None = None
    highest: int | None = None
    codes: Mapping[Any, str] = field(default_factory=dict)
    heading: str = ""
    words: Callable[[Protocol, Units], str | None] = lambda protocol, units: None
    for_coordinators: bool = False
    changes_hearing: bool = False

    @property
    def column(self) -> str:
        """Name of the column and of the field of the API: `settling_wait_s`."""
        return self.name + _SUFFIXES.get(self.kind, "")

    @property
    def may_be_unset(self) -> bool:
        """Whether a protocol may do without the limit: its value is then None."""
        return NoneType in get_args(_TYPES[self.name])

    @property
    def default(self) -> Any:
        """The value in a protocol that does not mention the limit; None where it has no default."""
        value = _FIELDS[self.name].default
        return None if value is dataclasses.MISSING else value

    def to_column(self, value: Any) -> Any:
        """A value of `Protocol` as it is stored. Parts of a second or minute are rounded."""
        if value is None:
            return None
        match self.kind:
            case Kind.LENGTH:
                return round(value.total_seconds())
            case Kind.AFTER_SUNSET:
                return round(value.total_seconds() / 60)
            case Kind.CODES:
                return sorted(value)
            case Kind.TEMPERATURES:
                return list(value)
            case Kind.CHOICE:
                return value.value
            case _:
                return value

    def from_column(self, stored: Any) -> Any:
        """A stored value as `Protocol` has it."""
        if stored is None:
            return None
        match self.kind:
            case Kind.LENGTH:
                return dt.timedelta(seconds=stored)
            case Kind.AFTER_SUNSET:
                return dt.timedelta(minutes=stored)
            case Kind.CODES:
                return frozenset(stored)
            case Kind.TEMPERATURES:
                return tuple(stored)
            case Kind.CHOICE:
                return _TYPES[self.name](stored)
            case _:
                return stored

    def in_units(self, text: str, units: Units) -> str:
        """`label` or `help` with the units of the program filled in."""
        words = _UNIT_WORDS[units.distance]
        return text.format(**words, degrees=f"°{units.temperature.value}")
