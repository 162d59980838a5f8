"""What pitch and pulse rate a species' call has: from reference calls that were measured, or from
memory. Imports no Django."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from surveys.sound.calls import Call, tempo
from surveys.sound.measured import BandMeasures

# Fewer reference calls say too little of how much the males of a species differ.
LEAST_REFERENCES = 3
# Males differ by 3.5 % in pitch and 5 % in pulse rate, from memory; a handful of them lie within
# twice that of the others.
PITCH_SLACK, RATE_SLACK = 0.08, 0.12
# Notes last longer in the cold, and longer in some males than in others.
NOTE_FACTOR = 1.7
# Of the pitch.
RISE_SLACK = 0.015
# The air at the stop is not the air at the frog.
CELSIUS_SLACK = 3.0
# Of a pulse rate that rests on memory.
_MEMORY_SLACK = 0.3
_USUAL_CELSIUS = 20.0

Limits = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Sample:
    """A reference call as measured: between what pitches it is strongest, its `pulse_rate` a second
    or None for whole notes, at `celsius`, None where it is not known. `note_s` is the usual length
    of a note in seconds and `rise` the share of its pitch by which it rises, None where they could
    not be measured."""

    pitch_hz: Limits
    pulse_rate: float | None
    celsius: float | None
    note_s: float | None = None
    rise: float | None = None


@dataclass(frozen=True, kw_only=True)
class CallRange:
    """What is known of a species: its pitch in Hz and its pulse rate a second at 20 °C, None for
    whole notes. `note_s` and `rise`: how long its notes last and by what share of their pitch they
    rise, None where that is not known. `of_any_rate`: nothing is known of its pulses. `references`
    is the number of reference calls behind it, 0 where it rests on memory. `listed`: on the
    checklist."""

    species: str
    pitch_hz: Limits
    pulse_rate: Limits | None
    note_s: Limits | None = None
    rise: Limits | None = None
    of_any_rate: bool = False
    references: int = 0
    listed: bool = True

    def rate_at(self, celsius: float) -> Limits | None:
        """Pulses a second at about this temperature."""
        if self.pulse_rate is None:
            return None
        low, high = self.pulse_rate
        return (
            low * tempo(celsius - CELSIUS_SLACK, _USUAL_CELSIUS),
            high * tempo(celsius + CELSIUS_SLACK, _USUAL_CELSIUS),
        )


def sample_of(band: BandMeasures, celsius: float | None) -> Sample:
    """What the clearest band of a reference call says."""
    return Sample(
        pitch_hz=band.pitches,
        pulse_rate=band.pulse_rate,
        celsius=celsius,
        note_s=band.note_s,
        rise=band.rise,
    )


def measured_range(species: str, samples: Sequence[Sample], *, listed: bool) -> CallRange | None:
    """What the reference calls of a species say; None where they are too few.

    Where most of them pulse, those of which it could not be measured are left out, and those
    without a temperature; where some do, nothing is known.

    >>> pitches = ((2800, 2800), (2850, 2850), (2700, 2900))
    >>> heard = [Sample(pitch_hz=hz, pulse_rate=None, celsius=12) for hz in pitches]
    >>> known = measured_range("peeper", heard, listed=True)
    >>> [round(hz) for hz in known.pitch_hz], known.pulse_rate, known.references
    ([2484, 3132], None, 3)
    """
    pulsed = [one for one in samples if one.pulse_rate is not None]
    if pulsed and len(pulsed) <= len(samples) / 2:
        return None
    used = [one for one in pulsed if one.celsius is not None] if pulsed else list(samples)
    if len(used) < LEAST_REFERENCES:
        return None
    rates = [
        one.pulse_rate / tempo(one.celsius, _USUAL_CELSIUS)
        for one in used
        if one.pulse_rate is not None and one.celsius is not None
    ]
    lengths = [one.note_s for one in used if one.note_s is not None]
    rises = [one.rise for one in used if one.rise is not None]
    return CallRange(
        species=species,
        pitch_hz=_widened([edge for one in used for edge in one.pitch_hz], PITCH_SLACK),
        pulse_rate=_widened(rates, RATE_SLACK) if rates else None,
        note_s=(min(lengths) / NOTE_FACTOR, max(lengths) * NOTE_FACTOR) if lengths else None,
        rise=(min(rises) - RISE_SLACK, max(rises) + RISE_SLACK) if rises else None,
        references=len(used),
        listed=listed,
    )


def remembered_ranges(
    species: str, peak_hz: str, call: Call | None, *, listed: bool
) -> tuple[CallRange, ...]:
    """What the catalog says of a species: a range for each band of `peak_hz`, such as
    `810-990 + 2700-3300`, with the pulses of its `call` where the table of calls has it.

    >>> known = remembered_ranges("green-treefrog", "810-990 + 2700-3300", None, listed=True)
    >>> [one.pitch_hz for one in known]
    [(810.0, 990.0), (2700.0, 3300.0)]
    """
    rates = [] if call is None else [part.pulse_rate for part in call.parts]
    # Notes in a row may be taken for pulses.
    is_whole = call is not None and all(part.notes == 1 for part in call.parts) and not any(rates)
    usual = [
        rate * tempo(_USUAL_CELSIUS, call.at_celsius) for rate in rates if rate and call is not None
    ]
    return tuple(
        CallRange(
            species=species,
            pitch_hz=(low, high),
            pulse_rate=_widened(usual, _MEMORY_SLACK) if usual else None,
            of_any_rate=not (is_whole or usual),
            listed=listed,
        )
        for low, high in _bands(peak_hz)
    )


def _bands(peak_hz: str) -> list[Limits]:
    edges = [band.split("-") for band in peak_hz.split(" + ") if band]
    return [(float(low), float(high)) for low, high in edges]


def _widened(values: Collection[float], slack: float) -> Limits:
    return min(values) * (1 - slack), max(values) * (1 + slack)
