"""How strong which pitch is when: power of short pieces of a wave."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import get_window

from surveys.sound.waves import RATE_HZ, Samples, Wave

# 32 ms: syllables of fast trills stay apart, and harmonics 60 Hz apart do, too.
FRAME = 512
HOP = 256
_BLOCK_FRAMES = 2048
# Far below the noise of 24 bits; keeps the logarithm of silence finite.
_SILENCE = 1e-16

Powers = NDArray[np.float32]


@dataclass(frozen=True, kw_only=True)
class Spectrogram:
    """`level_db`: rows from 0 Hz up to `top_hz`, columns over `seconds`; decibels, in which 0 is a
    sine of full scale."""

    level_db: Powers
    seconds: float
    top_hz: float


def powers(samples: Samples, frame: int = FRAME, hop: int = HOP) -> Iterator[Powers]:
    """Power in blocks of frames: rows are frames that begin `hop` samples apart, columns pitches
    from 0 to RATE_HZ / 2 in steps of RATE_HZ / frame. A sine of full scale has power 1 in its
    pitch.

    Hann window; what stands at the end and fills no frame is left out, and a wave shorter than a
    frame is filled up with silence. See Heinzel, Rüdiger and Schilling (2002), "Spectrum and
    spectral density estimation by the DFT", equation 24, for the scale.
    """
    if samples.size < frame:
        samples = np.pad(samples, (0, frame - samples.size))
    window = get_window("hann", frame).astype(np.float32)
    scale = np.float32(2 / window.sum())
    frames = np.lib.stride_tricks.sliding_window_view(samples, frame)[::hop]
    for first in range(0, len(frames), _BLOCK_FRAMES):
        block = frames[first : first + _BLOCK_FRAMES] * window
        yield np.square(np.abs(np.fft.rfft(block, axis=1)) * scale).astype(np.float32)


def spectrogram(wave: Wave, *, columns: int = 1200) -> Spectrogram:
    """The loudest frame in each of at most `columns` columns, so that a single pulse still shows
    in a long recording.

    >>> whistle = np.sin(2 * np.pi * 2900 * np.arange(RATE_HZ) / RATE_HZ).astype(np.float32)
    >>> shown = spectrogram(Wave(samples=whistle))
    >>> row = shown.level_db.mean(axis=1).argmax()
    >>> float(row * RATE_HZ / FRAME), shown.top_hz
    (2906.25, 8000.0)
    """
    count = max(1, (wave.samples.size - FRAME) // HOP + 1)
    columns = min(columns, count)
    loudest = np.full((columns, FRAME // 2 + 1), _SILENCE, np.float32)
    first = 0
    for block in powers(wave.samples):
        column = np.arange(first, first + len(block)) * columns // count
        np.maximum.at(loudest, column, block)
        first += len(block)
    return Spectrogram(
        level_db=(10 * np.log10(loudest)).T, seconds=wave.seconds, top_hz=RATE_HZ / 2
    )
