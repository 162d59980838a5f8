"""Protocol presets: protocols to begin from, one for each purpose. Every value is ours, inside the
range that has been published where there is one; the range and its sources are shown beside it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from enum import StrEnum
from typing import Any

from surveys.dates import month_day, time_of_day
from surveys.language import gettext, said
from surveys.language import gettext_noop as _
from surveys.protocol.limits.exact import exact
from surveys.protocol.limits.limit import Kind
from surveys.protocol.limits.phrases import Units
from surveys.protocol.limits.table import LIMITS_BY_NAME
from surveys.protocol.plain import from_plain
from surveys.protocol.values import (
    DistanceUnit,
    Protocol,
    SeasonWindow,
    Temperature,
    TemperatureUnit,
)
from surveys.protocol.weather import (
    METERS_PER_FOOT,
    METERS_PER_MILE,
    from_celsius,
    plain_number,
    show_temperature,
    to_celsius,
)
from surveys.protocol.words import distance, duration, listed, speed, temperature


class Mark(StrEnum):
    """How well a published value is known."""

    CHECKED = "C"
    FROM_MEMORY = "M"
    COMMON_PRACTICE = "P"
    OWN_DEFAULT = "O"


class Measure(StrEnum):
    """In what the ends of a published range are given."""

    MINUTES = "min"
    METERS = "m"
    CELSIUS = "°C"
    HOURS_AFTER_MIDNIGHT = "h after midnight"
    BEAUFORT = "Beaufort"
    STOPS = "stops"
    DAYS = "days"


@dataclass(frozen=True, kw_only=True)
class Published:
    """What has been published of one field of a protocol, or why there is nothing.

    `field` is a field of the protocol; that of a window is written `windows.opens`. `lowest` and
    `highest` are the ends of the range in `measure`, `highest` None where it is open; a field that
    is no number has `words`.
    """

    field: str
    mark: Mark
    source: str
    measure: Measure | None = None
    lowest: Decimal | None = None
    highest: Decimal | None = None
    words: str = ""


@dataclass(frozen=True, kw_only=True)
class Preset:
    """A protocol to begin from; `summary` says what it is for."""

    code: str
    summary: str
    protocol: Protocol


@dataclass(frozen=True, kw_only=True)
class Presets:
    """The content of `fixtures/protocol_presets.json`. `published` has an entry for every field
    that a preset sets."""

    about: str
    published: tuple[Published, ...]
    presets: tuple[Preset, ...]


@dataclass(frozen=True, kw_only=True)
class PresetRow:
    """One field of a preset in words: its value, the published range, and where that stands."""

    label: str
    value: str
    published: str
    source: str


def presets_from_plain(data: Mapping[str, object]) -> Presets:
    """Read the content of `fixtures/protocol_presets.json`.

    Raises PlainError that names the place of a mistake.
    """
    return from_plain(Presets, data, at="file")


def in_readers_language(presets: Presets) -> Presets:
    """The texts of the file in the reader's language; `fixtures/texts.py` marks them."""
    return replace(
        presets,
        published=tuple(
            replace(entry, words=gettext(entry.words), source=gettext(entry.source))
            for entry in presets.published
        ),
        presets=tuple(
            replace(preset, summary=gettext(preset.summary), protocol=_named(preset.protocol))
            for preset in presets.presets
        ),
    )


def _named(protocol: Protocol) -> Protocol:
    windows = tuple(replace(window, name=gettext(window.name)) for window in protocol.windows)
    return replace(protocol, name=gettext(protocol.name), windows=windows)


def in_units_of(protocol: Protocol, units: Units) -> Protocol:
    """The protocol with values that are round in the units of a program, not only in its own."""
    changes: dict[str, Any] = {
        "windows": tuple(_window_in(window, units.temperature) for window in protocol.windows)
    }
    if units.distance is DistanceUnit.MILES:
        for field, (per_unit, step, rounding) in _ROUND_IN_MILES.items():
            value = getattr(protocol, field)
            if value is not None:
                steps = (Decimal(str(value)) / per_unit / step).to_integral_value(rounding)
                changes[field] = float(steps * step * per_unit)
    if units.temperature is TemperatureUnit.FAHRENHEIT:
        changes["plausible_temperature_c"] = tuple(
            to_celsius(Temperature(value=_whole_fives(end), unit=TemperatureUnit.FAHRENHEIT))
            for end in protocol.plausible_temperature_c
        )
    return replace(protocol, **changes)


def _window_in(window: SeasonWindow, unit: TemperatureUnit) -> SeasonWindow:
    def whole(limit: Temperature | None) -> Temperature | None:
        if limit is None or limit.unit is unit:
            return limit
        shown = from_celsius(to_celsius(limit), unit).value
        return Temperature(value=shown.to_integral_value(ROUND_HALF_EVEN), unit=unit)

    return replace(
        window,
        min_air_temperature=whole(window.min_air_temperature),
        min_water_temperature=whole(window.min_water_temperature),
    )


def _whole_fives(celsius: Decimal) -> Decimal:
    fahrenheit = from_celsius(celsius, TemperatureUnit.FAHRENHEIT).value
    return Decimal(5 * round(fahrenheit / 5))


# Length of the unit in what is stored, the step to which a value is rounded, and the way: stops
# are never asked to be closer, nor a call to be farther, than in the preset.
_ROUND_IN_MILES: Mapping[str, tuple[Decimal, Decimal, str]] = {
    "listening_radius_m": (METERS_PER_FOOT, Decimal(50), ROUND_FLOOR),
    "max_distance_from_stop_m": (METERS_PER_FOOT, Decimal(50), ROUND_FLOOR),
    "min_stop_spacing_m": (METERS_PER_MILE, Decimal("0.1"), ROUND_CEILING),
    "max_drive_kmh": (METERS_PER_MILE / 1000, Decimal(5), ROUND_FLOOR),
}


def preset_rows(protocol: Protocol, presets: Presets, units: Units) -> tuple[PresetRow, ...]:
    """The fields that a protocol sets, in the order of `presets.published`."""
    return tuple(
        PresetRow(
            label=_label(entry.field, units),
            value=value,
            published=published_in_words(entry, units),
            source=entry.source,
        )
        for entry in presets.published
        if (value := _value_in_words(protocol, entry.field, units))
    )


def measured(protocol: Protocol, entry: Published) -> tuple[Decimal, ...]:
    """The values that the protocol gives a field, in the measure of its published range."""
    if entry.measure is None:
        return ()
    return tuple(map(_MEASURED[entry.measure], _values(protocol, entry.field)))


def published_in_words(entry: Published, units: Units) -> str:
    """`3 min to 10 min`, `at least 15 days`; in the units of the program."""
    if entry.measure is None:
        return entry.words
    if entry.lowest is None:
        return ""
    say = _in_units(entry.measure, units)
    range_once = _range(entry, say)
    return said(_UNIT_ONCE.get(entry.measure, "{range}"), range=range_once)


def _range(entry: Published, say: Callable[[Decimal], str]) -> str:
    assert entry.lowest is not None
    if entry.highest is None:
        return said("at least {length}", length=say(entry.lowest))
    return said("{first} to {last}", first=say(entry.lowest), last=say(entry.highest))


def _values(protocol: Protocol, field: str) -> list[Any]:
    head, _, name = field.partition(".")
    found = (
        [getattr(window, name) for window in protocol.windows]
        if name
        else [getattr(protocol, head)]
    )
    return [value for value in found if value is not None]


_MEASURED: Mapping[Measure, Callable[..., Decimal]] = {
    Measure.MINUTES: lambda length: Decimal(length.total_seconds()) / 60,
    Measure.METERS: lambda meters: Decimal(str(meters)),
    Measure.CELSIUS: to_celsius,
    Measure.HOURS_AFTER_MIDNIGHT: lambda clock: Decimal(clock.hour) + Decimal(clock.minute) / 60,
    Measure.BEAUFORT: Decimal,
    Measure.STOPS: Decimal,
    Measure.DAYS: Decimal,
}


def _in_units(measure: Measure, units: Units) -> Callable[[Decimal], str]:
    match measure:
        case Measure.MINUTES:
            return lambda end: duration(dt.timedelta(minutes=float(end)))
        case Measure.METERS:
            return lambda end: distance(float(end), units.distance)
        case Measure.CELSIUS:
            return lambda end: show_temperature(end, units.temperature)
        case Measure.HOURS_AFTER_MIDNIGHT:
            return lambda end: time_of_day(dt.time(int(end), int(end * 60) % 60))
        case _:
            return plain_number


_UNIT_ONCE = {
    Measure.BEAUFORT: _("Beaufort {range}"),
    Measure.STOPS: _("{range} stops"),
    Measure.DAYS: _("{range} days"),
}
_WINDOW_LABELS = {
    "windows.opens": _("Windows open"),
    "windows.closes": _("Windows close"),
    "windows.min_air_temperature": _("Minimum air temperature"),
    "windows.min_water_temperature": _("Minimum water temperature"),
    "season_year_begins": _("Season year begins"),
}


def _temperatures(ends: tuple[Decimal, Decimal], units: Units) -> str:
    first, last = (show_temperature(end, units.temperature) for end in ends)
    return said("{first} to {last}", first=first, last=last)


# A history says these to the tenth of a meter; a reader of presets wants their own units.
_IN_UNITS: Mapping[Kind, Callable[[Any, Units], str]] = {
    Kind.LONG_DISTANCE: lambda meters, units: distance(meters, units.distance),
    Kind.SHORT_DISTANCE: lambda meters, units: distance(meters, units.distance),
    Kind.SPEED: lambda kmh, units: speed(kmh, units.distance),
    Kind.TEMPERATURES: _temperatures,
}


def _label(field: str, units: Units) -> str:
    if field in _WINDOW_LABELS:
        return gettext(_WINDOW_LABELS[field])
    limit = LIMITS_BY_NAME[field]
    return limit.in_units(limit.label, units)


def _value_in_words(protocol: Protocol, field: str, units: Units) -> str:
    """The value of a field; empty where the protocol does not set it."""
    if field in LIMITS_BY_NAME:
        limit, value = LIMITS_BY_NAME[field], getattr(protocol, field)
        in_units = _IN_UNITS.get(limit.kind)
        return (
            in_units(value, units) if in_units and value is not None else exact(limit, value, units)
        )
    if field == "season_year_begins":
        return month_day(protocol.season_year_begins)
    values = _values(protocol, field)
    if field.endswith("temperature"):
        return listed(temperature(value, units.temperature) for value in values)
    return listed(map(month_day, values))
