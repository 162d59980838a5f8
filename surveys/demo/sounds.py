"""Sounds for the demo, made by computer: no animal, no place and no recording stands behind them.

Every species gets an invented voice, a row of short gliding notes drawn from its code. It is not
meant to sound like the species. How many sing at once follows the call index.
"""

import io
import wave
from dataclasses import dataclass
from random import Random

import numpy as np
from numpy.typing import NDArray

from surveys.demo.dice import dice

RATE_HZ = 16_000
SECONDS = 6
_SINGERS = {1: 1, 2: 3, 3: 10}
_PEAK = 0.6
_HISS = 0.006


@dataclass(frozen=True, kw_only=True)
class Voice:
    """One call: `notes` notes that glide from `pitch_hz` to `pitch_hz * glide`, then a rest."""

    pitch_hz: float
    glide: float
    note_s: float
    gap_s: float
    notes: int
    rest_s: float


def voice_of(code: str) -> Voice:
    """The invented voice of a species, the same for the same code."""
    rng = dice("voice", code)
    return Voice(
        pitch_hz=rng.uniform(600, 2600),
        glide=rng.uniform(0.8, 1.5),
        note_s=rng.uniform(0.03, 0.16),
        gap_s=rng.uniform(0.02, 0.08),
        notes=rng.randint(1, 12),
        rest_s=rng.uniform(0.5, 1.1),
    )


def chorus(code: str, index: int, rng: Random) -> bytes:
    """A WAVE file of SECONDS: one singer at call index 1, some at 2, many at 3."""
    voice = voice_of(code)
    sound = np.zeros(RATE_HZ * SECONDS)
    for _ in range(_SINGERS[index]):
        sound += rng.uniform(0.4, 1) * _caller(voice, rng)
    sound *= _PEAK / np.abs(sound).max()
    noise = np.random.default_rng(rng.getrandbits(32))
    return _wave_file(sound + _HISS * noise.standard_normal(sound.size))


def _caller(voice: Voice, rng: Random) -> NDArray[np.float64]:
    """Somebody who calls again and again, a little higher or lower than others."""
    call = _call(voice, voice.pitch_hz * rng.uniform(0.92, 1.08))
    sound = np.zeros(RATE_HZ * SECONDS)
    at = int(rng.uniform(0.05, voice.rest_s) * RATE_HZ)
    while at < sound.size:
        part = call[: sound.size - at]
        sound[at : at + part.size] += part
        at += call.size + int(voice.rest_s * rng.uniform(0.7, 1.3) * RATE_HZ)
    return sound


def _call(voice: Voice, pitch_hz: float) -> NDArray[np.float64]:
    time = np.arange(int(voice.note_s * RATE_HZ)) / RATE_HZ
    pitch = pitch_hz * (1 + (voice.glide - 1) * time / voice.note_s)
    note = np.sin(2 * np.pi * np.cumsum(pitch) / RATE_HZ) * np.sin(np.pi * time / voice.note_s)
    gap = np.zeros(int(voice.gap_s * RATE_HZ))
    return np.concatenate([note, gap] * voice.notes)


def _wave_file(sound: NDArray[np.float64]) -> bytes:
    samples = (np.clip(sound, -1, 1) * 32767).astype("<i2")
    out = io.BytesIO()
    with wave.open(out, "wb") as made:
        made.setnchannels(1)
        made.setsampwidth(2)
        made.setframerate(RATE_HZ)
        made.writeframes(samples.tobytes())
    return out.getvalue()
