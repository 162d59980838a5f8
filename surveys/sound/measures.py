"""What can be measured in a sound: bands of pitch, pulse rate and note length.

Each may be None: not measurable. Limits of error are fixed ones, 90 % of the errors in calls made
by computer (`tests/unit/sound`): those of one caller, or of several at once. Where a band is as
wide as a comb of lines, its strongest line says little and only the range is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from surveys.sound.bands import LOWEST_HZ, Band, bands
from surveys.sound.measured import BandMeasures, Measures
from surveys.sound.notes import (
    ENVELOPE_HZ,
    Envelope,
    Inside,
    Note,
    beats,
    envelope,
    filtered,
    notes,
    pulsing,
)
from surveys.sound.spectrogram import powers
from surveys.sound.waves import RATE_HZ, Samples, Wave

# What is measured in one piece.
LONGEST_S = 20.0
SHORTEST_S = 0.1
NOTE_ERROR = 0.2
# Wider than this share of its pitch, a band has no one pitch; a low one may have this many Hz.
_WIDEST, _WIDEST_HZ = 0.12, 180.0
_LEAST_STRENGTH = 0.35
_RATES_AGREE = 0.15
# Of the amplitude of a pulse, between two of them.
_MOST_LEFT = 0.3
# Notes of one caller: so alike in pitch, and the longer ones so many times as long as the shorter.
_ONE_PITCH, _ONE_LENGTH = 0.02, 1.25
_LEAST_NOTES = 3
_FEW_NOTES = 2


def measure(
    wave: Wave,
    begin_s: float = 0.0,
    end_s: float | None = None,
    *,
    low_hz: float = LOWEST_HZ,
    high_hz: float = RATE_HZ / 2,
) -> Measures:
    """Measure a part of a wave, LONGEST_S of it at most, in the pitches that are given.

    >>> time = np.arange(3 * RATE_HZ) / RATE_HZ
    >>> whistle = np.sin(2 * np.pi * 2950 * time) * (time % 1 < 0.25)
    >>> noise = 0.01 * np.random.default_rng(1).standard_normal(time.size)
    >>> heard = measure(Wave(samples=(whistle + noise).astype(np.float32)))
    >>> [(round(band.pitch_hz, -1), band.pulse_rate) for band in heard.bands]
    [(2950.0, None)]
    """
    end_s = min(wave.seconds if end_s is None else end_s, begin_s + LONGEST_S, wave.seconds)
    samples = wave.between(begin_s, end_s).samples
    if samples.size < SHORTEST_S * RATE_HZ:
        return Measures(begin_s=begin_s, end_s=end_s, bands=())
    found = bands(samples, low_hz=low_hz, high_hz=high_hz)
    return Measures(
        begin_s=begin_s, end_s=end_s, bands=tuple(_measured(samples, band) for band in found)
    )


def measure_clearest(wave: Wave) -> Measures:
    """Measure the LONGEST_S of a longer wave in which a band stands out most."""
    starts = np.arange(0, max(wave.seconds - LONGEST_S / 2, 0.1), LONGEST_S)
    if len(starts) == 1:
        return measure(wave)

    def clearness(start: float) -> float:
        found = bands(wave.between(start, start + LONGEST_S).samples)
        return found[0].contrast_db if found else 0.0

    return measure(wave, float(max(starts, key=clearness)))


def _measured(samples: Samples, band: Band) -> BandMeasures:
    inside = filtered(samples, band)
    amplitude = envelope(inside)
    heard = notes(amplitude)
    whole = [note for note in heard if note.whole]
    several = _are_several(inside, whole)
    wide = band.high_hz - band.low_hz > max(_WIDEST * band.top_hz, _WIDEST_HZ)
    return BandMeasures(
        low_hz=band.low_hz,
        high_hz=band.high_hz,
        pitch_hz=None if wide else band.top_hz,
        pulse_rate=_pulse_rate(inside, amplitude, heard, several=several),
        note_s=None if several else _note_length(whole),
        several=several,
        note_count=len(whole),
        rise=_rise(inside, whole),
        note_spread=_note_spread(whole),
    )


def _pulse_rate(
    inside: Inside, amplitude: Envelope, heard: tuple[Note, ...], *, several: bool
) -> float | None:
    """The median of the notes that pulse, where more than half of all agree with it."""
    found = [_rate(inside, amplitude, note, several=several) for note in heard]
    rates = [rate for rate in found if rate is not None]
    if not rates:
        return None
    middle = float(np.median(rates))
    agreeing = [rate for rate in rates if abs(rate / middle - 1) <= _RATES_AGREE]
    return float(np.median(agreeing)) if len(agreeing) > len(heard) / 2 else None


def _rate(inside: Inside, amplitude: Envelope, note: Note, *, several: bool) -> float | None:
    """Pulses a second of a note.

    Two whistles at once beat as if they pulsed; where several call, what does not fall silent in
    between is taken for such, too.
    """
    found = pulsing(amplitude[note.first : note.last])
    if found is None or found.strength <= _LEAST_STRENGTH:
        return None
    if several and found.left >= _MOST_LEFT:
        return None
    return None if beats(_part(inside, note), found.rate) else found.rate


def _note_length(whole: Sequence[Note]) -> float | None:
    lengths = [note.seconds for note in whole]
    return float(np.median(lengths)) if len(lengths) >= _LEAST_NOTES else None


def _rise(inside: Inside, whole: Sequence[Note]) -> float | None:
    """The median over whole notes; below 0 where they fall."""
    found = []
    for note in whole:
        middle = (note.first + note.last) // 2
        first = _pitch(inside, replace(note, last=middle))
        found.append(_pitch(inside, replace(note, first=middle)) / first - 1)
    return float(np.median(found)) if found else None


def _note_spread(whole: Sequence[Note]) -> float | None:
    if not whole:
        return None
    short, middle, long = np.quantile([note.seconds for note in whole], (0.05, 0.5, 0.95))
    return float((long - short) / middle)


def _are_several(inside: Inside, whole: Sequence[Note]) -> bool:
    """Whether whole notes differ in pitch or length more than those of one caller would. One note,
    or none, cannot tell: then the wider limits hold."""
    if len(whole) < _FEW_NOTES:
        return True
    pitches = [_pitch(inside, note) for note in whole]
    low, high = np.quantile(pitches, (0.1, 0.9))
    short, long = np.quantile([note.seconds for note in whole], (0.1, 0.9))
    return bool(high > low * (1 + _ONE_PITCH) or long > short * _ONE_LENGTH)


def _pitch(inside: Inside, note: Note) -> float:
    """The middle of the power of a note, in Hz."""
    part = _part(inside, note).astype(np.float32)
    power = np.mean(np.concatenate(list(powers(part))), axis=0)
    pitch = np.arange(power.size) * (RATE_HZ / 2 / (power.size - 1))
    strong = power > power.max() / 4
    return float(np.average(pitch[strong], weights=power[strong]))


def _part(inside: Inside, note: Note) -> Inside:
    scale = RATE_HZ // ENVELOPE_HZ
    return inside[note.first * scale : note.last * scale]
