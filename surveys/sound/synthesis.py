"""Calls made by computer, as samples: the twin of `web/calls/static/calls/synthesis.js`.

The browser makes the sound where a page may know what it plays. A question must not tell its
answer, so its sound is made here. `tests/unit/sound/test_synthesis.py` holds the two together.
"""

from __future__ import annotations

import io
import math
import wave
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from surveys.sound.calls import tempo
from surveys.sound.chance import Chance

Samples = NDArray[np.float64]

RATE_HZ = 22_050
SECONDS = 10.0
# How males differ: shares of their pitch and of their tempo.
_PITCH_SPREAD, _TEMPO_SPREAD = 0.035, 0.05
# Males that call at a call index.
MALES = {1: 1, 2: 4, 3: 20}
_EDGE_S = 0.004
# The part of its time for which a pulse sounds.
_PULSE_SHARE = 0.6
# A plucked note is down to a third after this share of its length.
_PLUCKED_SHARE = 0.35
_NEAR_M = 10.0
_LOUDEST = 0.8
# Amplitude of the background beside that of one near male.
_BACKGROUND = 0.22
# A filter has forgotten what came before once it weighs less than this.
_FORGOTTEN = 1e-7
_USUAL: Mapping[str, Any] = {
    "second_hz": 0.0,
    "second_share": 0.0,
    "pulse_rate": 0.0,
    "notes": 1,
    "note_every_s": (0.0, 0.0),
    "then_s": 0.0,
    "plucked": False,
}


@dataclass(frozen=True, kw_only=True)
class Scene:
    """What is heard at one place.

    `voices` are calls as `Call.plain` has them, each with a call index from 1 to 3. `celsius` is
    None for the temperature at which each call is known. `distance` in meters to the nearest male.
    `behind` is "", "wind", "rain" or "road". The same `seed` gives the same sound.
    """

    voices: Sequence[tuple[Mapping[str, Any], int]]
    celsius: float | None = None
    seconds: float = SECONDS
    distance: float = _NEAR_M
    behind: str = ""
    seed: int = 1


def samples_of(scene: Scene) -> Samples:
    """Samples from −1 to 1, at RATE_HZ."""
    samples = np.zeros(_rounded(scene.seconds * RATE_HZ))
    chance = Chance(scene.seed)
    for call, index in scene.voices:
        _add_males(samples, call, index, scene, chance)
    if scene.behind:
        made = _BEHIND[scene.behind](samples.size, chance)
        samples += made * (_BACKGROUND / math.sqrt(float(np.mean(made**2))))
    most = float(np.max(np.abs(samples), initial=0.0))
    return samples * (_LOUDEST / most) if most else samples


def wave_file(samples: Samples) -> bytes:
    """A WAV file of one channel, 16 bits."""
    file = io.BytesIO()
    with wave.open(file, "wb") as written:
        written.setnchannels(1)
        written.setsampwidth(2)
        written.setframerate(RATE_HZ)
        written.writeframes((samples * 32767).astype("<i2").tobytes())
    return file.getvalue()


def _add_males(
    samples: Samples, call: Mapping[str, Any], index: int, scene: Scene, chance: Chance
) -> None:
    males = MALES[index]
    is_alone = males == 1
    at_celsius = call["at_celsius"]
    fast = tempo(at_celsius if scene.celsius is None else scene.celsius, at_celsius)
    for _ in range(males):
        # A single one calls exactly as its species is described.
        pitch = 1.0 if is_alone else 1 + _PITCH_SPREAD * chance.normal()
        own = fast * (1.0 if is_alone else max(0.5, 1 + _TEMPO_SPREAD * chance.normal()))
        away = scene.distance * (1.0 if is_alone else 1 + 3 * chance.next())
        sound = _heard_from(_call_of(call["parts"], pitch, own), away)
        every = call["every_s"] / own
        at = 0.3 if is_alone else (chance.next() - 0.5) * 2 * every
        while at * RATE_HZ < samples.size:
            _add_at(samples, sound, _rounded(at * RATE_HZ))
            at += every * (1.0 if is_alone else 1 + 0.1 * chance.normal())


def _call_of(parts: Sequence[Mapping[str, Any]], pitch: float, fast: float) -> Samples:
    """One call of one male, amplitude 1."""
    places: list[tuple[float, Samples]] = []
    at = 0.0
    for described in parts:
        part = {**_USUAL, **described}
        note = _note_of(part, pitch, fast)
        for number in range(part["notes"]):
            places.append((at, note))
            if number < part["notes"] - 1:
                at += _between(part["note_every_s"], number, part["notes"] - 2) / fast
        at += (part["note_s"] + part["then_s"]) / fast
    last, note = places[-1]
    sound = np.zeros(_rounded(last * RATE_HZ) + note.size)
    for begin, one in places:
        _add_at(sound, one, _rounded(begin * RATE_HZ))
    return sound


def _note_of(part: Mapping[str, Any], pitch: float, fast: float) -> Samples:
    size = max(2, _rounded(part["note_s"] / fast * RATE_HZ))
    turn = 2 * math.pi * pitch / RATE_HZ
    first, last = part["pitch_hz"]
    step = np.arange(size)
    sound = np.sin(np.cumsum(turn * (first + (last - first) * step / size)))
    if part["second_hz"]:
        sound += part["second_share"] * np.sin(turn * part["second_hz"] * step)
    if part["pulse_rate"]:
        share = (step * (part["pulse_rate"] * fast / RATE_HZ)) % 1
        pulse = np.sin(math.pi * share / _PULSE_SHARE) ** 2
        sound *= np.where(share < _PULSE_SHARE, pulse, 0.0)
    if part["plucked"]:
        sound *= np.exp(-step / (size * _PLUCKED_SHARE))
    edge = min(_EDGE_S * RATE_HZ, size / 4)
    edges = np.minimum(1.0, np.minimum(step, size - 1 - step) / edge)
    faded: Samples = sound / (1 + part["second_share"]) * edges
    return faded


def _heard_from(sound: Samples, meters: float) -> Samples:
    """Weaker with distance, the high tones first."""
    far = max(_NEAR_M, meters)
    return _below(sound, 1000 + 200_000 / far) * (_NEAR_M / far)


def _below(sound: Samples, pitch: float) -> Samples:
    """What a filter of one pole lets pass below a pitch."""
    kept = 1 - math.exp(-2 * math.pi * pitch / RATE_HZ)
    length = math.ceil(math.log(_FORGOTTEN) / math.log(1 - kept))
    weights = kept * (1 - kept) ** np.arange(length)
    passed: Samples = np.convolve(sound, weights)[: sound.size]
    return passed


def _wind(size: int, chance: Chance) -> Samples:
    """Low noise that comes and goes."""
    swell = 1 + 0.6 * np.sin(2 * math.pi * 0.23 * np.arange(size) / RATE_HZ)
    return _below(chance.noise(size), 350) * swell


def _rain(size: int, chance: Chance) -> Samples:
    """High noise, and drops."""
    drops, noise = chance.take(2 * size).reshape(size, 2).T
    white: Samples = np.where(drops < 0.002, 6.0, 1.0) * (2 * noise - 1)
    return white - _below(white, 900)


def _road(size: int, chance: Chance) -> Samples:
    """A car that passes."""
    away = ((np.arange(size) - size / 2) / (2.5 * RATE_HZ)) ** 2
    passed: Samples = _below(chance.noise(size), 700) * (0.15 + 1 / (1 + away))
    return passed


_BEHIND = {"wind": _wind, "rain": _rain, "road": _road}
BACKGROUNDS = tuple(_BEHIND)


def _add_at(sound: Samples, one: Samples, first: int) -> None:
    begin, end = max(0, -first), min(one.size, sound.size - first)
    if end > begin:
        sound[first + begin : first + end] += one[begin:end]


def _between(ends: tuple[float, float], number: int, most: int) -> float:
    first, last = ends
    return first + (last - first) * number / most if most > 0 else first


def _rounded(value: float) -> int:
    """As JavaScript rounds, half up."""
    return math.floor(value + 0.5)
