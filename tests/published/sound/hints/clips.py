"""Sounds made by computer of which it is known what calls in them, and what else may sound so.

No animal stands behind them: how often a hint is wrong on real recordings, only confirmed ones can
tell. How the pitches and tempos of insects, birds, engines and voices are drawn is from memory.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.signal import resample_poly

from surveys.sound.call_ranges import (
    CallRange,
    Sample,
    measured_range,
    remembered_ranges,
    sample_of,
)
from surveys.sound.calls import calls
from surveys.sound.measures import measure
from surveys.sound.synthesis import BACKGROUNDS, Scene, samples_of
from surveys.sound.synthesis import RATE_HZ as MADE_HZ
from surveys.sound.waves import RATE_HZ, Wave

_SPECIES = Path(__file__).parents[4] / "fixtures" / "species.json"
# Reference calls of a species, and the seeds that no clip has.
REFERENCES, _REFERENCE_SEED = 5, 7_000_000
SECONDS = 20.0
_LEFT_OUT = 3
# Of how many species of a region the calls can be made, at least.
_LEAST_ABLE = 10
_TIME = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
_PITCH_SPREAD, _TEMPO_SPREAD = 0.035, 0.05
# A thermometer at the stop beside the air at the frog.
_CELSIUS_SPREAD = 1.5

Sound = NDArray[np.float64]
Rng = np.random.Generator


@dataclass(frozen=True, kw_only=True)
class Clip:
    """`there` are the species that call in it; `celsius` is what was read at the stop."""

    wave: Wave
    there: frozenset[str]
    celsius: float


@dataclass(frozen=True, kw_only=True)
class Program:
    """Where a clip is from: what calls in its region, and what of that its checklist has."""

    region: tuple[str, ...]
    listed: frozenset[str]

    def known(self) -> list[CallRange]:
        """Ranges as a program has them that keeps REFERENCES reference calls of each species that
        can be made."""
        found: list[CallRange] = []
        for code in self.region:
            listed = code in self.listed
            measured = (
                measured_range(code, _references(code), listed=True)
                if listed and code in calls()
                else None
            )
            found.extend(
                [measured]
                if measured
                else remembered_ranges(code, _peaks(code), calls().get(code), listed=listed)
            )
        return found


def program(rng: Rng) -> Program:
    """A region of the catalog; its checklist lacks three of its species."""
    regions = _regions()
    region = regions[sorted(regions)[rng.integers(len(regions))]]
    left_out = rng.choice(len(region), size=_LEFT_OUT, replace=False)
    kept = frozenset(code for at, code in enumerate(region) if at not in left_out)
    return Program(region=region, listed=kept)


def one_male(rng: Rng, of: Program) -> Clip:
    return _calling(rng, [(_one(rng, of.listed), 1)])


def chorus(rng: Rng, of: Program) -> Clip:
    return _calling(rng, [(_one(rng, of.listed), int(rng.integers(2, 4)))])


def two_species(rng: Rng, of: Program) -> Clip:
    able = _able(of.listed)
    both = rng.choice(len(able), size=2, replace=False)
    return _calling(rng, [(able[at], int(rng.integers(1, 4))) for at in both])


def not_listed(rng: Rng, of: Program) -> Clip:
    """A species of the region, or one that has come from elsewhere."""
    return _calling(rng, [(_one(rng, frozenset(calls()) - of.listed), int(rng.integers(1, 4)))])


def insects(rng: Rng, of: Program) -> Clip:
    """Trills without end, or chirps."""
    pitch, rate = rng.uniform(2500, 7000), rng.uniform(20, 90)
    sound = np.sin(2 * np.pi * pitch * _TIME) * np.clip(np.sin(2 * np.pi * rate * _TIME), 0, None)
    if rng.random() < 0.5:
        every = rng.uniform(0.3, 1.5)
        sound *= (_TIME % every) < every * rng.uniform(0.2, 0.6)
    return _other(rng, sound)


def birds(rng: Rng, of: Program) -> Clip:
    """Whistles that slide, each phrase a little otherwise."""
    sound = np.zeros(_TIME.size)
    phrase = [
        (rng.uniform(1500, 5000), rng.uniform(-0.25, 0.25), rng.uniform(0.08, 0.6))
        for _ in range(rng.integers(1, 4))
    ]
    at = rng.uniform(0, 1)
    while at < SECONDS - 2:
        for pitch, slide, length in phrase:
            note = _slide(pitch * (1 + 0.02 * rng.standard_normal()), slide, length)
            first = round(at * RATE_HZ)
            sound[first : first + note.size] += note[: sound.size - first]
            at += length + rng.uniform(0.05, 0.2)
        at += rng.uniform(0.3, 2)
    return _other(rng, sound)


def engines_and_voices(rng: Rng, of: Program) -> Clip:
    """Lines of one note: an engine that hums, or syllables."""
    voice = rng.random() < 0.5
    pitch = rng.uniform(90, 220) if voice else rng.uniform(30, 120)
    slow = 1 + 0.1 * np.sin(2 * np.pi * rng.uniform(0.1, 0.6) * _TIME)
    phase = 2 * np.pi * np.cumsum(pitch * slow) / RATE_HZ
    places = rng.uniform(300, 3200, size=3)
    sound = np.zeros(_TIME.size)
    for line in range(1, int(4000 / pitch)):
        near = np.exp(-np.square((line * pitch - places) / 250)).sum() + 0.02
        sound += near * np.sin(line * phase)
    if voice:
        sound *= np.clip(np.sin(2 * np.pi * rng.uniform(1, 4) * _TIME), 0, None)
    return _other(rng, sound)


def beeps(rng: Rng, of: Program) -> Clip:
    """As of a truck that backs up, or a telephone."""
    every = rng.uniform(0.3, 1.2)
    sound = np.sin(2 * np.pi * rng.uniform(900, 3200) * _TIME)
    return _other(rng, sound * ((_TIME % every) < every * rng.uniform(0.2, 0.6)))


def weather_and_road(rng: Rng, of: Program) -> Clip:
    scene = Scene(
        voices=[],
        seconds=SECONDS,
        behind=BACKGROUNDS[rng.integers(len(BACKGROUNDS))],
        seed=int(rng.integers(2**31)),
    )
    return Clip(wave=_wave(samples_of(scene)), there=frozenset(), celsius=_air(rng))


CLASSES: dict[str, Callable[[Rng, Program], Clip]] = {
    "one male of a listed species": one_male,
    "several males of a listed species": chorus,
    "two listed species": two_species,
    "a species that is not listed": not_listed,
    "insects": insects,
    "birds": birds,
    "engines and voices": engines_and_voices,
    "beeps": beeps,
    "wind, rain and road": weather_and_road,
}

# Their species may be named.
LISTED = tuple(CLASSES)[:3]


def _calling(rng: Rng, voices: list[tuple[str, int]]) -> Clip:
    celsius = _air(rng)
    scene = Scene(
        voices=[(_male(rng, code), index) for code, index in voices],
        celsius=celsius,
        seconds=SECONDS,
        distance=float(rng.uniform(10, 35)),
        behind=("", *BACKGROUNDS)[rng.integers(1 + len(BACKGROUNDS))],
        seed=int(rng.integers(_REFERENCE_SEED)),
    )
    typed = celsius + _CELSIUS_SPREAD * float(rng.standard_normal())
    there = frozenset(code for code, _ in voices)
    return Clip(wave=_wave(samples_of(scene)), there=there, celsius=typed)


def _male(rng: Rng, code: str) -> dict[str, Any]:
    """A call as `Call.plain` has it, of a male with a pitch and a tempo of its own."""
    call = calls()[code].plain()
    pitch = 1 + _PITCH_SPREAD * float(rng.standard_normal())
    fast = max(0.7, 1 + _TEMPO_SPREAD * float(rng.standard_normal()))
    slower = ("note_s", "then_s")
    parts = [
        part
        | {"pitch_hz": tuple(pitch * hz for hz in part["pitch_hz"])}
        | ({"second_hz": pitch * part["second_hz"]} if "second_hz" in part else {})
        | ({"pulse_rate": fast * part["pulse_rate"]} if "pulse_rate" in part else {})
        | {name: part[name] / fast for name in slower if name in part}
        for part in call["parts"]
    ]
    return call | {"every_s": call["every_s"] / fast, "parts": parts}


def _other(rng: Rng, sound: Sound) -> Clip:
    """Over noise, with no frog."""
    loud = sound / np.sqrt(np.mean(np.square(sound)))
    noise = rng.standard_normal(sound.size) * 10 ** (-rng.uniform(0, 20) / 20)
    samples = loud + noise
    wave = Wave(samples=(0.8 * samples / np.abs(samples).max()).astype(np.float32))
    return Clip(wave=wave, there=frozenset(), celsius=_air(rng))


def _slide(pitch: float, slide: float, length: float) -> Sound:
    time = np.arange(round(length * RATE_HZ)) / RATE_HZ
    edge = np.clip(np.minimum(time, time[::-1]) / 0.01, 0, 1)
    sound: Sound = edge * np.sin(
        2 * np.pi * np.cumsum(pitch * (1 + slide * time / length)) / RATE_HZ
    )
    return sound


def _air(rng: Rng) -> float:
    return float(rng.uniform(8, 26))


@cache
def _catalog() -> dict[str, dict[str, Any]]:
    table = json.loads(_SPECIES.read_text("utf-8"))
    return {row["code"]: row for row in table["species"]}


@cache
def _regions() -> dict[str, tuple[str, ...]]:
    """Species by the region in which they call."""
    found: dict[str, list[str]] = {}
    for code, row in _catalog().items():
        for calling in row["calling"]:
            found.setdefault(calling["region"], []).append(code)
    return {
        region: tuple(codes)
        for region, codes in found.items()
        if len(_able(frozenset(codes))) >= _LEAST_ABLE
    }


def _peaks(code: str) -> str:
    return " + ".join(f"{low}-{high}" for low, high in _catalog()[code]["peaks_hz"])


@cache
def _references(code: str) -> tuple[Sample, ...]:
    """Single males, each at another temperature, as a coordinator keeps them."""
    rng = np.random.default_rng([_REFERENCE_SEED, *code.encode()])
    found = []
    for _ in range(REFERENCES):
        celsius = _air(rng)
        seed = _REFERENCE_SEED + int(rng.integers(2**20))
        scene = Scene(voices=[(_male(rng, code), 1)], celsius=celsius, seconds=SECONDS, seed=seed)
        found.extend(
            sample_of(band, celsius) for band in measure(_wave(samples_of(scene))).bands[:1]
        )
    return tuple(found)


def _able(codes: frozenset[str]) -> list[str]:
    return sorted(codes & calls().keys())


def _one(rng: Rng, codes: frozenset[str]) -> str:
    able = _able(codes)
    return able[rng.integers(len(able))]


def _wave(samples: Sound) -> Wave:
    """At the rate that is measured."""
    common = np.gcd(MADE_HZ, RATE_HZ)
    made = resample_poly(samples, RATE_HZ // common, MADE_HZ // common)
    return Wave(samples=made.astype(np.float32))
