"""What a limit of a protocol is."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum, StrEnum
from types import NoneType
from typing import Any, get_args, get_type_hints

from surveys.language import gettext, said
from surveys.language import gettext_noop as _
from surveys.protocol.limits.phrases import Units
from surveys.protocol.values import DistanceUnit, Protocol
from surveys.protocol.weather import BeaufortForce, Words


class Kind(StrEnum):
    """What the value of a limit is. Whatever stores or shows limits has one way for each kind."""

    LENGTH = "length of time"  # timedelta; stored in seconds, typed in minutes
    AFTER_SUNSET = "time after sunset"  # timedelta; stored and typed in whole minutes
    CLOCK = "clock time"  # time
    COUNT = "count"  # int
    FORCE = "wind force"  # int, one of `choices`
    CHOICE = "choice"  # a member of an enum, one of `choices`
    CHOICES = "choices"  # frozenset of members of an enum, each one of `choices`
    CODE_TABLE = "codes of its own"  # code as written -> member of an enum, one of `choices`
    YES_NO = "yes or no"  # bool
    LONG_DISTANCE = "long distance"  # float; stored in meters, typed in kilometers or miles
    SHORT_DISTANCE = "short distance"  # float; stored in meters, typed in meters or feet
    SPEED = "speed"  # float; stored in km/h
    TEMPERATURES = "temperatures"  # lowest and highest as Decimal, stored in °C


class Group(StrEnum):
    """The parts of the form of a protocol, in the order of an evening."""

    EVENING = _("The evening")
    LISTENING = _("Listening")
    WEATHER = _("Weather and noise")
    STOPS = _("Stops and visits")
    CODES = _("Codes on your paper sheets")


_UNIT_WORDS = {
    DistanceUnit.KILOMETERS: {"long": _("kilometers"), "short": _("meters")},
    DistanceUnit.MILES: {"long": _("miles"), "short": _("feet")},
}
_SUFFIXES = {Kind.LENGTH: "_s", Kind.AFTER_SUNSET: "_min"}
_FIELDS = {item.name: item for item in dataclasses.fields(Protocol)}
_TYPES = get_type_hints(Protocol)


def _enum_in(hint: Any) -> Any:
    """The enum in a type such as `Mapping[str, SkyState]` or `NoiseEffect | None`."""
    if isinstance(hint, type) and issubclass(hint, Enum):
        return hint
    return next((found for part in get_args(hint) if (found := _enum_in(part))), None)


@dataclass(frozen=True, kw_only=True)
class Limit:
    """One limit that a protocol may set.

    `name` is a field of `values.Protocol`. `label` and `help` are those of the form, as they are
    written; `{long}` and `{short}` in them stand for the program's units of distance, `{degrees}`
    for its unit of temperature. `lowest` and `highest` are in the unit that is stored. `choices`
    leads from the stored values to choose from to their words.

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
    choices: Mapping[Any, str | Words | BeaufortForce] = field(default_factory=dict)
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
        item = _FIELDS[self.name]
        if item.default_factory is not dataclasses.MISSING:
            return item.default_factory()
        return None if item.default is dataclasses.MISSING else item.default

    def to_column(self, value: Any) -> Any:
        """A value of `Protocol` as it is stored. Parts of a second or minute are rounded."""
        if value is None:
            return None
        match self.kind:
            case Kind.LENGTH:
                return round(value.total_seconds())
            case Kind.AFTER_SUNSET:
                return round(value.total_seconds() / 60)
            case Kind.CHOICES:
                return sorted(member.value for member in value)
            case Kind.CODE_TABLE:
                return {code: member.value for code, member in value.items()}
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
            case Kind.CHOICES:
                return frozenset(map(self._member, stored))
            case Kind.CODE_TABLE:
                return {code: self._member(value) for code, value in stored.items()}
            case Kind.TEMPERATURES:
                return tuple(stored)
            case Kind.CHOICE:
                return self._member(stored)
            case _:
                return stored

    def _member(self, stored: str) -> Any:
        """The member of the enum that the limit is chosen from."""
        return _enum_in(_TYPES[self.name])(stored)

    def in_units(self, text: str, units: Units) -> str:
        """`label` or `help` with the units of the program filled in."""
        words = {name: gettext(unit) for name, unit in _UNIT_WORDS[units.distance].items()}
        return said(text, **words, degrees=f"°{units.temperature.value}")

    def told_choices(self) -> dict[Any, str]:
        """`choices` in the reader's language."""
        return {
            value: gettext(words) if isinstance(words, str) else words.told()
            for value, words in self.choices.items()
        }
