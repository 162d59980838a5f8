"""Notes in a band of pitch: when they sound, and how fast they pulse."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_closing, binary_opening, uniform_filter1d
from scipy.signal import butter, find_peaks, hilbert, sosfiltfilt

from surveys.sound.bands import Band
from surveys.sound.waves import RATE_HZ, Samples

ENVELOPE_HZ = 4_000
_THIN = RATE_HZ // ENVELOPE_HZ
# Narrower, and the filter itself would smear pulses.
_LEAST_WIDTH_HZ = 240.0
# Slower than this, pulses are notes of their own.
SLOWEST, FASTEST = 14.0, 110.0
_SMOOTH_S = 0.004
_BRIDGED_S = 1 / SLOWEST
_SHORTEST_S = 0.02
# Where between the floor and the loudest a note begins.
_THRESHOLD = 0.25
_FLOOR, _LOUD = 0.2, 0.97
_FIRST_PEAK = 0.8
_LEAST_PULSES = 3.5
# A line that is weaker by 10 dB than the one on the other side is none.
_ONE_SIDED = 0.1

Envelope = NDArray[np.float64]
Inside = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Note:
    """From sample `first` to before `last` of the envelope; whole unless the sound begins or ends
    within it."""

    first: int
    last: int
    whole: bool

    @property
    def seconds(self) -> float:
        return (self.last - self.first) / ENVELOPE_HZ


@dataclass(frozen=True, kw_only=True)
class Pulsing:
    """Pulses a second, how much a note is like itself one pulse later, and the share of the
    amplitude that is left between pulses, both 0 to 1."""

    rate: float
    strength: float
    left: float


def filtered(samples: Samples, band: Band) -> Inside:
    """What sounds in the band, at RATE_HZ."""
    wider = max(0.0, _LEAST_WIDTH_HZ - (band.high_hz - band.low_hz)) / 2
    low = max(40.0, band.low_hz - wider)
    high = min(RATE_HZ / 2 - 40.0, band.high_hz + wider)
    sos = butter(2, (low, high), "bandpass", fs=RATE_HZ, output="sos")
    return np.asarray(sosfiltfilt(sos, samples), np.float64)


def envelope(inside: Inside) -> Envelope:
    """Amplitude at ENVELOPE_HZ."""
    # Lengths of which the FFT takes long are filled up.
    size = 1 << (inside.size - 1).bit_length()
    amplitude = np.abs(hilbert(inside, size))[: inside.size]
    return np.asarray(uniform_filter1d(amplitude, round(_SMOOTH_S * RATE_HZ))[::_THIN])


def notes(amplitude: Envelope) -> tuple[Note, ...]:
    """Stretches that stand above the floor; gaps shorter than a pulse of the slowest trill do not
    end one."""
    floor, loud = np.quantile(amplitude, (_FLOOR, _LOUD))
    sounding = amplitude > floor + _THRESHOLD * (loud - floor)
    bridge = round(_BRIDGED_S * ENVELOPE_HZ)
    padded = np.pad(sounding, bridge)
    padded = binary_opening(padded, np.ones(round(_SMOOTH_S * ENVELOPE_HZ / 2)))
    closed = binary_closing(padded, np.ones(bridge))[bridge:-bridge]
    closed = binary_opening(closed, np.ones(round(_SHORTEST_S * ENVELOPE_HZ)))
    steps = np.flatnonzero(np.diff(np.pad(closed.astype(np.int8), 1)))
    return tuple(
        Note(first=int(first), last=int(last), whole=bool(first > 0 and last < closed.size))
        for first, last in zip(steps[::2], steps[1::2], strict=True)
    )


def pulsing(amplitude: Envelope) -> Pulsing | None:
    """How a note pulses; None for one that is too short to tell or never repeats itself.

    Autocorrelation of its envelope: the first peak that has four fifths of the height of the best
    is one pulse; the furthest multiple of it that still peaks makes the rate exact.
    """
    slowest = round(ENVELOPE_HZ / SLOWEST)
    likeness = _autocorrelation(amplitude - amplitude.mean())
    most = min(slowest + 2, round(amplitude.size / 2))
    if most <= ENVELOPE_HZ / FASTEST:
        return None
    peaks, facts = find_peaks(likeness[:most], height=0.05)
    heights = facts["peak_heights"]
    if not peaks.size:
        return None
    first = int(np.argmax(heights >= _FIRST_PEAK * heights.max()))
    if peaks[first] < ENVELOPE_HZ / FASTEST:
        # Faster than can be told: every second pulse would be taken for each.
        return None
    period = _exact(likeness, int(peaks[first]))
    if amplitude.size < _LEAST_PULSES * period:
        return None
    quiet, loud = np.quantile(amplitude, (0.2, 0.95))
    return Pulsing(
        rate=ENVELOPE_HZ / _refined(likeness, period),
        strength=float(heights[first]),
        left=float(quiet / loud) if loud > 0 else 1.0,
    )


def beats(part: Inside, rate: float) -> bool:
    """Whether what seems to pulse so often a second are two pitches at once.

    Pulses have a line on either side of their strongest one, `rate` away and about as strong; a
    second pitch is on one side only.
    """
    size = 2 << (part.size - 1).bit_length()
    power = np.square(np.abs(np.fft.rfft(part * np.hanning(part.size), size)))
    step = RATE_HZ / size
    top = int(np.argmax(power))
    near = max(1, round(rate / 4 / step))

    def line(side: int) -> float:
        at = max(0, top + side * round(rate / step))
        return float(power[max(0, at - near) : at + near + 1].max(initial=0.0))

    weak, strong = sorted((line(-1), line(1)))
    return weak < _ONE_SIDED * strong


def _autocorrelation(centered: Envelope) -> Envelope:
    """At lag 0 it is 1; each lag by the number of products behind it, up to half the length."""
    size = centered.size
    spectrum = np.fft.rfft(centered, 2 * size)
    sums = np.fft.irfft(np.square(np.abs(spectrum)))[: size // 2 + 1]
    means = sums / (size - np.arange(sums.size))
    return np.asarray(means / means[0] if means[0] > 0 else np.zeros_like(means))


def _refined(likeness: Envelope, period: float) -> float:
    """The period by multiples of it, each found near where those before let expect it."""
    count = 2
    while round((count + 0.3) * period) < likeness.size:
        low, high = round((count - 0.3) * period), round((count + 0.3) * period)
        at = low + int(np.argmax(likeness[low : high + 1]))
        if at in (low, high) or likeness[at] < 0.2:
            break
        period = _exact(likeness, at) / count
        count += 1
    return period


def _exact(likeness: Envelope, at: int) -> float:
    if not 0 < at < likeness.size - 1:
        return float(at)
    before, here, after = likeness[at - 1 : at + 2]
    bend = before - 2 * here + after
    return float(at + (0.5 * (before - after) / bend if bend < 0 else 0.0))
