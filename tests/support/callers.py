"""Calls made by computer: notes of a sine, whole or in pulses, over noise. No animal stands behind
them, so what is measured right in them is measured right at best in a wetland."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from surveys.sound.waves import RATE_HZ, Wave

_EDGE_S = 0.004


@dataclass(frozen=True, kw_only=True)
class Caller:
    """`pulse_rate` 0 is a whistle. A pulse sounds for half of its period."""

    pitch_hz: float
    pulse_rate: float = 0.0
    note_s: float = 0.6
    rest_s: float = 0.7
    first_s: float = 0.2
    strength: float = 1.0


def sung(callers: list[Caller], *, snr_db: float, seconds: float = 20.0, seed: int = 1) -> Wave:
    """All of them over white noise. `snr_db`: power of one caller of strength 1 while it sounds,
    over that of the noise from 0 to 8 kHz."""
    noise = np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))
    sound = 10 ** (-snr_db / 20) * noise
    for caller in callers:
        sound += caller.strength * _calls(caller, sound.size)
    return Wave(samples=(0.5 * sound / np.abs(sound).max()).astype(np.float32))


def _calls(caller: Caller, size: int) -> NDArray[np.float64]:
    """Power 1 while a note sounds."""
    note = _note(caller)
    made = np.zeros(size)
    at = round(caller.first_s * RATE_HZ)
    while at < size:
        part = note[: size - at]
        made[at : at + part.size] += part
        at += note.size + round(caller.rest_s * RATE_HZ)
    return made


def _note(caller: Caller) -> NDArray[np.float64]:
    time = np.arange(round(caller.note_s * RATE_HZ)) / RATE_HZ
    tone = np.sin(2 * np.pi * caller.pitch_hz * time)
    if caller.pulse_rate:
        tone *= np.clip(np.sin(2 * np.pi * caller.pulse_rate * time), 0, None)
    edge = np.minimum(time, time[::-1]) / _EDGE_S
    tone *= np.clip(edge, 0, 1)
    return tone / np.sqrt(np.mean(np.square(tone)))
