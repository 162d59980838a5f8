"""Weather and units: Beaufort force, sky, noise, call index, temperature, length, speed.

Sky and noise are told in words of our own. A protocol may have codes for them.
Beaufort bounds: WMO-No. 306 / WMO-No. 8, Beaufort table, in m/s at 10 m.
Temperature: NIST SP 811 (2008), B.8: t_C = (t_F − 32) / 1.8, exact.
Lengths and speeds: international inch 25.4 mm, mile 1609.344 m, knot 1852 m an hour, exact.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from types import MappingProxyType

from surveys.language import gettext, said, unbroken_degrees
from surveys.language import gettext_noop as _
from surveys.protocol.values import (
    NoiseEffect,
    RainUnit,
    SkyState,
    Temperature,
    TemperatureUnit,
)


@dataclass(frozen=True, kw_only=True)
class BeaufortForce:
    """One force of the Beaufort scale: lowest and highest speed in m/s (both count;
    `highest` is None for the last force) and its sign on land."""

    force: int
    lowest: Decimal
    highest: Decimal | None
    name: str
    sign: str

    def __str__(self) -> str:
        return f"{self.name}, {self.sign}"

    def told(self) -> str:
        """The force in the reader's language."""
        return said("{name}, {sign}", name=gettext(self.name), sign=gettext(self.sign))


def _force(force: int, lowest: str, highest: str | None, name: str, sign: str) -> BeaufortForce:
    return BeaufortForce(
        force=force,
        lowest=Decimal(lowest),
        highest=None if highest is None else Decimal(highest),
        name=name,
        sign=sign,
    )


BEAUFORT: tuple[BeaufortForce, ...] = (
    _force(0, "0.0", "0.2", _("calm"), _("smoke goes straight up")),
    _force(1, "0.3", "1.5", _("light air"), _("smoke drifts, weather vanes do not move")),
    _force(2, "1.6", "3.3", _("light breeze"), _("felt on the face, leaves rustle")),
    _force(3, "3.4", "5.4", _("gentle breeze"), _("leaves and small twigs move all the time")),
    _force(4, "5.5", "7.9", _("moderate breeze"), _("dust and paper lift, small branches move")),
    _force(5, "8.0", "10.7", _("fresh breeze"), _("small trees in leaf sway")),
    _force(6, "10.8", "13.8", _("strong breeze"), _("large branches move, wires hum")),
    _force(7, "13.9", "17.1", _("near gale"), _("whole trees move, walking is hard work")),
    _force(8, "17.2", "20.7", _("gale"), _("twigs break off, walking is slow")),
    _force(9, "20.8", "24.4", _("strong gale"), _("roofs lose tiles")),
    _force(10, "24.5", "28.4", _("storm"), _("trees are uprooted")),
    _force(11, "28.5", "32.6", _("violent storm"), _("damage everywhere")),
    _force(12, "32.7", None, _("hurricane"), _("devastation")),
)


@dataclass(frozen=True, kw_only=True)
class Words:
    """A state in words: its name, and the sign by which it is known."""

    name: str
    sign: str

    def __str__(self) -> str:
        return f"{self.name}: {self.sign}"

    def told(self) -> str:
        """The state in the reader's language."""
        return said("{name}: {sign}", name=gettext(self.name), sign=gettext(self.sign))


SKY: Mapping[SkyState, Words] = MappingProxyType(
    {
        SkyState.CLEAR: Words(name=_("clear"), sign=_("open sky, at most a few clouds")),
        SkyState.PARTLY_CLOUDY: Words(
            name=_("partly cloudy"), sign=_("clouds with open sky between")
        ),
        SkyState.OVERCAST: Words(name=_("overcast"), sign=_("cloud from edge to edge")),
        SkyState.FOG: Words(name=_("fog"), sign=_("fog, mist or smoke hides distant lights")),
        SkyState.DRIZZLE: Words(name=_("drizzle"), sign=_("fine drops without a sound")),
        SkyState.LIGHT_RAIN: Words(name=_("light rain"), sign=_("you hear calls through it")),
        SkyState.HEAVY_RAIN: Words(name=_("heavy rain"), sign=_("it drowns out calls")),
        SkyState.SNOW: Words(name=_("snow"), sign=_("snow or sleet")),
        SkyState.THUNDER: Words(name=_("thunder"), sign=_("thunder or lightning, near or far")),
    }
)

NOISE: Mapping[NoiseEffect, Words] = MappingProxyType(
    {
        NoiseEffect.QUIET: Words(name=_("quiet"), sign=_("nothing to listen through")),
        NoiseEffect.HEARD_THROUGH: Words(
            name=_("heard through"), sign=_("noise, but no call is missed")
        ),
        NoiseEffect.FAINT_LOST: Words(
            name=_("faint calls lost"), sign=_("soft and distant calls are lost")
        ),
        NoiseEffect.LOUD_ONLY: Words(
            name=_("only loud calls"), sign=_("only near callers and loud choruses get through")
        ),
        NoiseEffect.ALL_LOST: Words(
            name=_("all calls lost"), sign=_("the noise covers every call")
        ),
    }
)

CALL_INDEX: Mapping[int, str] = MappingProxyType(
    {
        0: _("listened for, not heard"),
        1: _("single callers, with silence between calls; they can be counted"),
        2: _("some calls overlap; single callers can still be told apart"),
        3: _("full chorus without a break; single callers cannot be separated"),
    }
)

METERS_PER_MILE = Decimal("1609.344")
METERS_PER_FOOT = Decimal("0.3048")
MM_PER_INCH = Decimal("25.4")
METERS_PER_NAUTICAL_MILE = Decimal(1852)

_TENTH = Decimal("0.1")
_FOUR_PLACES = Decimal("0.0001")
_TWO_PLACES = Decimal("0.01")
_DEGREES_F_PER_C = Decimal("1.8")
_FREEZING_F = Decimal(32)


def beaufort_from_speed(meters_per_second: Decimal | float) -> int:
    """Beaufort force of a wind speed in m/s, taken half-up to 0.1 m/s.

    Raises ValueError for a negative speed.
    """
    speed = Decimal(str(meters_per_second)).quantize(_TENTH, ROUND_HALF_UP)
    if speed < 0:
        raise ValueError(f"A wind speed of {meters_per_second} m/s is below zero.")
    return max(row.force for row in BEAUFORT if row.lowest <= speed)


def to_celsius(temperature: Temperature) -> Decimal:
    """Temperature in °C to 4 places, the one form in which temperatures are compared."""
    if temperature.unit is TemperatureUnit.CELSIUS:
        celsius = temperature.value
    else:
        celsius = (temperature.value - _FREEZING_F) / _DEGREES_F_PER_C
    return celsius.quantize(_FOUR_PLACES, ROUND_HALF_UP)


def from_celsius(celsius: Decimal, unit: TemperatureUnit) -> Temperature:
    """The reading that `to_celsius` came from, to two places: 5.5556 °C gives back 42 °F."""
    value = celsius
    if unit is TemperatureUnit.FAHRENHEIT:
        value = celsius * _DEGREES_F_PER_C + _FREEZING_F
    return Temperature(value=value.quantize(_TWO_PLACES, ROUND_HALF_UP), unit=unit)


def show_temperature(celsius: Decimal, unit: TemperatureUnit) -> str:
    """A temperature as people read it, to a tenth: `42 °F`, `5.6 °C`."""
    value = from_celsius(celsius, unit).value.quantize(_TENTH, ROUND_HALF_UP)
    return unbroken_degrees(f"{plain_number(value)} °{unit.value}")


def rain_to_mm(amount: Decimal, unit: RainUnit) -> Decimal:
    """Rain in mm to two places, so that hundredths of an inch survive: 0.01 in is 0.25 mm."""
    millimeters = amount * MM_PER_INCH if unit is RainUnit.INCHES else amount
    return millimeters.quantize(_TWO_PLACES, ROUND_HALF_UP)


def show_rain(millimeters: Decimal | None, unit: RainUnit, *, is_trace: bool = False) -> str:
    """Rain as gauges show it, to 0.01 in or 0.1 mm: `0.5 in`, `12.7 mm`, `a trace`; empty
    when it is not known."""
    if is_trace or millimeters is None:
        return gettext("a trace") if is_trace else ""
    if unit is RainUnit.INCHES:
        amount = (millimeters / MM_PER_INCH).quantize(_TWO_PLACES, ROUND_HALF_UP)
    else:
        amount = millimeters.quantize(_TENTH, ROUND_HALF_UP)
    return f"{plain_number(amount)} {unit.value}"


def plain_number(value: Decimal) -> str:
    """Digits without trailing zeros, exponent or a negative zero; a true minus sign."""
    text = f"{value:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    if text.startswith("-"):
        text = "0" if text == "-0" else "−" + text[1:]
    return text


def meters_per_second_from_mph(mph: Decimal) -> Decimal:
    return mph * METERS_PER_MILE / 3600


def meters_per_second_from_kmh(kmh: Decimal) -> Decimal:
    return kmh * 1000 / 3600


def meters_per_second_from_knots(knots: Decimal) -> Decimal:
    return knots * METERS_PER_NAUTICAL_MILE / 3600
