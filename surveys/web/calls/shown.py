"""Calls made by computer as pages show them: what plays, and the same in words."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.template.defaultfilters import floatformat
from django.utils.translation import gettext_lazy

from surveys.language import said, unbroken_degrees
from surveys.models import Species
from surveys.protocol.words import listed
from surveys.sound.calls import Call, call_of, is_high

CALLERS = (
    ("1", gettext_lazy("One male (call index 1)")),
    ("2", gettext_lazy("A few that overlap (call index 2)")),
    ("3", gettext_lazy("Full chorus (call index 3)")),
)
_DISTANCES = (
    ("10", gettext_lazy("Near the road")),
    ("60", gettext_lazy("Across a field")),
    ("200", gettext_lazy("Far off")),
)
_BACKGROUNDS = (
    ("", gettext_lazy("None")),
    ("wind", gettext_lazy("Wind")),
    ("rain", gettext_lazy("Rain")),
    ("road", gettext_lazy("A passing car")),
)
_TEMPERATURES = (
    ("", gettext_lazy("As usual for the species")),
    ("8", gettext_lazy("Cold: 8 °C (46 °F)")),
    ("14", gettext_lazy("Cool: 14 °C (57 °F)")),
    ("20", gettext_lazy("Mild: 20 °C (68 °F)")),
    ("26", gettext_lazy("Warm: 26 °C (79 °F)")),
)
# Name in the form, label, choices.
SELECTS = (
    ("index", gettext_lazy("Who calls"), CALLERS),
    ("distance", gettext_lazy("Distance"), _DISTANCES),
    ("behind", gettext_lazy("Other noise"), _BACKGROUNDS),
    ("celsius", gettext_lazy("Air temperature"), _TEMPERATURES),
)


@dataclass(frozen=True, kw_only=True)
class MadeCall:
    """`plain` is what the browser makes the sound from, as JSON."""

    name: str
    plain: str
    words: str


def made_calls(species: Species) -> tuple[list[MadeCall], list[str]]:
    """The calls of a species, or of those of a joint entry, and the names of those without one."""
    heard_as = list(species.members.all()) if species.is_complex else [species]
    known = [(one, call_of(one.code)) for one in heard_as]
    made = [
        MadeCall(name=one.name, plain=json.dumps(call.plain()), words=call_words(call))
        for one, call in known
        if call is not None
    ]
    return made, [one.name for one, call in known if call is None and not one.is_silent]


def made_once(species: Iterable[Species]) -> list[MadeCall]:
    """The calls of several species by name, each once."""
    found = {call.plain: call for one in species for call in made_calls(one)[0]}
    return sorted(found.values(), key=lambda call: call.name)


def calls_for_phones(codes: Iterable[str]) -> dict[str, dict[str, Any]]:
    """Of those of the species that have a call: what the phone makes it from, and words."""
    known = ((code, call_of(code)) for code in sorted(set(codes)))
    return {
        code: {"call": call.plain(), "words": call_words(call)}
        for code, call in known
        if call is not None
    }


def call_words(call: Call, celsius: float | None = None) -> str:
    """`At 15 °C (59 °F): rising from 2,600 to 3,000 Hz, 18 pulses a second.`"""
    at = call.at_celsius if celsius is None else celsius
    rate = call.pulse_rate_at(at)
    pitches = listed([_pitch(part.pitch_hz, part.second_hz) for part in call.parts])
    # Both units, as in the catalog: the guide and the phone show these words of every program.
    degrees = {"celsius": f"{at:.0f}", "fahrenheit": f"{at * 1.8 + 32:.0f}"}
    if rate is None:
        words = said("At {celsius} °C ({fahrenheit} °F): {pitches} Hz.", pitches=pitches, **degrees)
    else:
        words = said(
            "At {celsius} °C ({fahrenheit} °F): {pitches} Hz, {rate} pulses a second.",
            pitches=pitches,
            rate=f"{rate:.0f}",
            **degrees,
        )
    return unbroken_degrees(words)


def is_high_voice(species: Species) -> bool:
    heard_as = species.members.all() if species.is_complex else [species]
    return any(is_high(one.peak_hz) for one in heard_as)


def settings() -> list[dict[str, Any]]:
    """What can be chosen for all calls of a page."""
    return [{"name": name, "label": label, "choices": choices} for name, label, choices in SELECTS]


def _pitch(ends: tuple[float, float], second: float) -> str:
    first, last = (floatformat(end, "0g") for end in ends)
    if ends[0] < ends[1]:
        told = said("rising from {first} to {last}", first=first, last=last)
    elif ends[0] > ends[1]:
        told = said("falling from {first} to {last}", first=first, last=last)
    else:
        told = first
    if not second:
        return told
    return said("{first} together with {second}", first=told, second=floatformat(second, "0g"))
