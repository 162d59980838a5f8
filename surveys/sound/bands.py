"""Bands of pitch: where something sounds above what is around it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d

from surveys.sound.spectrogram import powers
from surveys.sound.waves import RATE_HZ, Samples

_FRAME = 1024
_HOP = 256
_STEP_HZ = RATE_HZ / _FRAME
# What sounds in a fourteenth of the frames shows.
_QUANTILE = 0.93
_FLOOR_STEPS = round(2400 / _STEP_HZ) | 1
_LEAST_CONTRAST_DB = 6.0
# The edges of a band are so far below its top: half the amplitude.
_EDGE_DB = 6.0
_BESIDE_HZ = 400.0
_WEAKER_DB = 10.0
# Hum, wind and handling of the phone.
LOWEST_HZ = 150.0
MOST_BANDS = 3

Levels = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Band:
    """From `low_hz` to `high_hz`, strongest at `top_hz`, `contrast_db` above what is around."""

    low_hz: float
    high_hz: float
    top_hz: float
    contrast_db: float


def bands(
    samples: Samples, *, low_hz: float = LOWEST_HZ, high_hz: float = RATE_HZ / 2
) -> tuple[Band, ...]:
    """At most MOST_BANDS bands with their top between `low_hz` and `high_hz`, the clearest first.

    Frames of 64 ms; in each pitch what 93 % of them stay below, over the running median of that
    along 2.4 kHz.
    """
    contrast = _contrast(samples)
    found = []
    free = np.zeros(contrast.size, bool)
    free[_step(low_hz) : _step(high_hz) + 1] = True
    for _ in range(MOST_BANDS):
        top = int(np.argmax(np.where(free, contrast, -np.inf)))
        if not free[top] or contrast[top] < _LEAST_CONTRAST_DB:
            break
        first, last = _edges(contrast, top)
        found.append(
            Band(
                low_hz=first * _STEP_HZ,
                high_hz=last * _STEP_HZ,
                top_hz=_between_steps(contrast, top) * _STEP_HZ,
                contrast_db=float(contrast[top]),
            )
        )
        free &= ~_belonging(contrast, top)
    return tuple(found)


def _contrast(samples: Samples) -> Levels:
    level = np.quantile(np.concatenate(list(powers(samples, _FRAME, _HOP))), _QUANTILE, axis=0)
    level_db = 10 * np.log10(np.maximum(level, 1e-16))
    # Single steps of noise are no band.
    level_db = uniform_filter1d(level_db, 3, mode="nearest")
    floor = median_filter(level_db, _FLOOR_STEPS, mode="nearest")
    return np.asarray(level_db - floor, np.float64)


def _step(pitch_hz: float) -> int:
    return max(1, min(round(pitch_hz / _STEP_HZ), _FRAME // 2 - 1))


def _edges(contrast: Levels, top: int) -> tuple[int, int]:
    return _within(contrast, top, contrast[top] - _EDGE_DB)


def _belonging(contrast: Levels, top: int) -> NDArray[np.bool_]:
    """What belongs to a band: its foot, and beside it what is much weaker, as pulses make lines
    there that fall off slowly."""
    steps = np.arange(contrast.size)
    first, last = _within(contrast, top, _EDGE_DB / 2)
    near = np.abs(steps - top) <= _BESIDE_HZ / _STEP_HZ
    beside = near & (contrast < contrast[top] - _WEAKER_DB)
    return np.asarray(((steps >= first) & (steps <= last)) | beside, np.bool_)


def _within(contrast: Levels, top: int, least: float) -> tuple[int, int]:
    first = last = top
    while first > 1 and contrast[first - 1] >= least:
        first -= 1
    while last < contrast.size - 2 and contrast[last + 1] >= least:
        last += 1
    return first, last


def _between_steps(contrast: Levels, top: int) -> float:
    """The top of the parabola through three levels.

    >>> _between_steps(np.array([0.0, 3.0, 4.0, 3.0, 0.0]), 2)
    2.0
    """
    before, at, after = contrast[top - 1 : top + 2]
    bend = before - 2 * at + after
    return float(top + (0.5 * (before - after) / bend if bend < 0 else 0.0))
