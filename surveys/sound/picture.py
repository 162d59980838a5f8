"""Pictures of a wave as PNG: ink that is the denser the louder, on no ground, so that a page can
put it on paper by day and turn it around by night."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from surveys.sound.spectrogram import Spectrogram
from surveys.sound.waves import Wave

COLUMNS = 1200
WAVE_ROWS = 64
# The floor is where the quieter half of the picture lies; what is so much louder is full ink.
_FLOOR_QUANTILE = 0.5
_LOUD_QUANTILE = 0.9995
_LEAST_RANGE_DB = 25.0


def spectrogram_png(shown: Spectrogram) -> bytes:
    """Time from left to right, pitch from bottom to top; a pixel a column and a row."""
    level = shown.level_db[::-1]
    floor, loud = np.quantile(level, (_FLOOR_QUANTILE, _LOUD_QUANTILE))
    ink = (level - floor) / max(loud - floor, _LEAST_RANGE_DB)
    return _png(ink)


def waveform(wave: Wave, *, columns: int = COLUMNS) -> NDArray[np.float32]:
    """The largest amplitude, 0 to 1, in each of at most `columns` columns.

    >>> waveform(Wave(samples=np.array([0, -0.5, 0.25, 0.1], np.float32)), columns=2).tolist()
    [0.5, 0.25]
    """
    size = wave.samples.size
    if not size:
        return np.zeros(1, np.float32)
    starts = np.unique(np.arange(min(columns, size)) * size // min(columns, size))
    return np.maximum.reduceat(np.abs(wave.samples), starts)


def waveform_png(peaks: NDArray[np.float32]) -> bytes:
    """Amplitude around the middle, the largest of the recording as high as the picture."""
    most = float(peaks.max()) or 1.0
    height = peaks / most * WAVE_ROWS / 2
    row = np.abs(np.arange(WAVE_ROWS) - (WAVE_ROWS - 1) / 2)[:, np.newaxis]
    return _png((row < np.maximum(height, 1)).astype(np.float32))


def _png(ink: NDArray[np.float32]) -> bytes:
    """Black, as dense as `ink`, 0 to 1."""
    alpha = Image.fromarray((np.clip(ink, 0, 1) * 255).astype(np.uint8))
    black = Image.new("L", alpha.size, 0)
    made = io.BytesIO()
    Image.merge("LA", (black, alpha)).save(made, "PNG", optimize=False, compress_level=6)
    return made.getvalue()
